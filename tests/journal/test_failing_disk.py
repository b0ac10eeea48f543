"""A disk that fails at every write, sync, rename and cut there is: nothing acknowledged may be missing."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import HitchcallError, LogError
from assistant.journal import anchor
from assistant.journal.audio import keep_audio
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LogReader
from assistant.journal.records import Closed, Note
from assistant.journal.resume import Resumer
from assistant.journal.verify import State, verify
from assistant.journal.writer import Writer
from tests.journal.conftest import SetClocks
from tests.journal.scripted import RUN, answer, hearing, opened


class FailingDisk(Disk):
    """Fails at the call with a given number, and at every one after it when the failure stays."""

    def __init__(self, at: int, kind: str, *, stays: bool) -> None:
        self.at, self.kind, self.stays = at, kind, stays
        self.calls = 0

    def _due(self) -> bool:
        self.calls += 1
        return self.calls > self.at if self.stays else self.calls == self.at + 1

    def _fail(self) -> None:
        if self._due():
            number = {"ENOSPC": errno.ENOSPC, "EIO": errno.EIO, "EROFS": errno.EROFS}.get(self.kind, errno.ENOSPC)
            raise OSError(number, os.strerror(number))

    def write(self, fd: int, data: bytes, at: int) -> int:
        """Fail, or take half and then fail."""
        if self.kind == "short" and self.calls == self.at:
            self.calls += 1
            self.at += 1  # the next call of any kind fails
            return os.pwrite(fd, data[: len(data) // 2], at)
        self._fail()
        return super().write(fd, data, at)

    def sync(self, fd: int) -> None:
        """Fail."""
        self._fail()
        super().sync(fd)

    def cut(self, fd: int, size: int) -> None:
        """Fail."""
        self._fail()
        super().cut(fd, size)

    def rename(self, old: Path, new: Path) -> None:
        """Fail."""
        self._fail()
        super().rename(old, new)

    def create(self, path: Path) -> int:
        """Fail."""
        self._fail()
        return super().create(path)

    def sync_folder(self, path: Path) -> None:
        """Fail."""
        self._fail()
        super().sync_folder(path)


def work(logs: Path, keys: Path, disk: Disk, acked: list[int]) -> None:
    """Make a key, begin, answer, keep a recording, be interrupted with a torn end, resume, end."""
    key = tablet_key(keys, disk)
    writer = Writer.begin(logs, opened(key.public), key, clocks=SetClocks(), disk=disk)
    try:
        for number in range(3):
            answer(writer, number)
            acked.append(number)
        keep_audio(writer.folder, np.arange(160, dtype=np.int16), disk)
    finally:
        writer.close()
    with (writer.folder / "log.jsonl").open("ab") as file:
        file.write(b'{"data":{')
    writer = Resumer(writer.folder, key, clocks=SetClocks(), disk=disk).go_on(
        program="0.1.0", decayed=(), changed=(), restarted=False, files={}
    )
    try:
        answer(writer, 3)
        acked.append(3)
        writer.finish(Closed(outcome="coupled"))
    finally:
        writer.close()


@pytest.fixture
def cheap_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make codes cheap where hundreds of runs are written and no code is looked at."""
    monkeypatch.setattr(anchor, "_WORK", 2)


@pytest.mark.usefixtures("cheap_codes")
def test_failure_at_every_call(fast: Path, capsys: pytest.CaptureFixture) -> None:
    """Disk full, broken or read-only at any moment: one sentence, and what was acknowledged is there."""
    counter = FailingDisk(10**9, "EIO", stays=True)
    work(fast / "count", fast / "count-keys", counter, [])
    missing = silent = stuck = tried = 0
    for kind in ("ENOSPC", "EIO", "EROFS", "short"):
        for stays in (True, False):
            for at in range(counter.calls):
                logs = fast / "failing"
                acked: list[int] = []
                tried += 1
                try:
                    work(logs, logs / "keys", FailingDisk(at, kind, stays=stays), acked)
                    # Only the failure of a call that need not succeed may pass: cutting, a short write. The
                    # last two calls cut off the room, which does no harm where it stays.
                    silent += stays and kind != "short" and at < counter.calls - 2
                except LogError as error:
                    silent += len(str(error).splitlines()) != 1
                have = on_disk(logs / RUN)
                missing += len([number for number in acked if number not in have])
                stuck += not resumable(logs / RUN, logs / "keys", have)
                shutil.rmtree(logs, ignore_errors=True)
    with capsys.disabled():
        print(
            f"\n{tried} failures injected at {counter.calls} writes, syncs, renames, cuts and creations: answers "
            f"acknowledged but not on disk {missing}, failures passed over {silent}, runs lost {stuck}"
        )
    assert (missing, silent, stuck) == (0, 0, 0)


def on_disk(folder: Path) -> list[int]:
    """Return the answers a log holds."""
    if not (folder / "log.jsonl").exists():
        return []
    try:
        entries = list(LogReader(folder))
    except LogError:
        return []  # not even the beginning was acknowledged
    return [entry.data["event"]["answer"] for entry in entries if entry.kind == "decided"]  # type: ignore[index]


def resumable(folder: Path, keys: Path, have: list[int]) -> bool:
    """Return whether a run with answers can be gone on with on a sound disk, or is whole already."""
    if not have:
        return True
    if verify(folder).state is State.WHOLE:
        return True
    resumer = Resumer(folder, tablet_key(keys), clocks=SetClocks())
    if resumer.found.ended:
        resumer.seal_end()
    else:
        resumer.go_on(program="1", decayed=(), changed=(), restarted=False, files={}).finish(Closed("given up"))
    return verify(folder).state is State.WHOLE


def test_dead_writer_stays_dead(tmp_path: Path, key: TabletKey) -> None:
    """After a failed sync nothing more is accepted: the next sync may claim success wrongly."""
    disk = FailingDisk(10**9, "EIO", stays=False)
    writer = Writer.begin(tmp_path, opened(key.public), key, disk=disk)
    disk.at = disk.calls
    for _ in range(2):
        with pytest.raises(LogError, match=r"^Cannot write the log .*: the disk reports an error; use another disk\.$"):
            writer.append(Note(text="x"))
    with pytest.raises(LogError):
        writer.hear(hearing(1))
    assert len(list(LogReader(writer.folder))) == 2
    writer.close()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 64 KiB, where this user may mount one."""
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)], capture_output=True, check=False, timeout=20
    )
    if mounted.returncode:
        pytest.skip(f"no small disk can be mounted here: {mounted.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", str(folder)], check=True, timeout=20)


def test_really_full_disk(small_disk: Path, key: TabletKey) -> None:
    """A full card stops the run with a sentence; everything acknowledged is there and goes on elsewhere."""
    writer = Writer.begin(small_disk / "logs", opened(key.public), key, clocks=SetClocks())
    acked = 0
    with pytest.raises(LogError, match="the disk is full; free some space"):  # noqa: PT012 - counts until it fails
        for number in range(10_000):
            writer.append(Note(text=f"{number} " + "x" * 200))
            acked += 1
    writer.close()
    notes = [entry for entry in LogReader(writer.folder) if entry.kind == "note"]
    assert len(notes) == acked > 50


@pytest.mark.parametrize(
    ("spoil", "says"),
    [(shutil.rmtree, "the folder is gone"), (lambda folder: (folder / "log.jsonl").unlink(), "the folder is gone")],
)
def test_removed_folder(tmp_path: Path, key: TabletKey, spoil: Callable[[Path], None], says: str) -> None:
    """A removed log is noticed although the system would go on writing to it."""
    writer = Writer.begin(tmp_path, opened(key.public), key)
    spoil(writer.folder)
    with pytest.raises(LogError, match=says):
        writer.append(Note(text="x"))
    writer.close()


def test_two_programs_on_one_log(tmp_path: Path, key: TabletKey) -> None:
    """Two sessions may never write one log: their records would mix."""
    writer = Writer.begin(tmp_path, opened(key.public), key)
    with pytest.raises(LogError, match="Another program is writing"):
        Resumer(writer.folder, key)
    with pytest.raises(LogError, match="there already"):
        Writer.begin(tmp_path, opened(key.public), key)
    writer.append(Note(text="still fine"))
    writer.close()
    assert Resumer(writer.folder, key).found.last.data == {"text": "still fine"}


def test_clock_set_back_and_forward(tmp_path: Path, key: TabletKey) -> None:
    """A wall clock that is set is noted in the log; the run's own clock never goes back."""
    clocks = SetClocks()
    writer = Writer.begin(tmp_path, opened(key.public), key, clocks=clocks)
    clocks.wall_ms -= 3_600_000
    at = writer.now()
    writer.append(Note(text="after"), at=at)
    writer.close()
    moved, note = list(LogReader(writer.folder))[-2:]
    assert moved.kind == "clock"
    assert abs(moved.data["moved_ms"] + 3_600_000) < 100  # type: ignore[operator]
    assert note.mono == at
    assert any("set 1 times" in text for text in verify(writer.folder).notes)
    clocks.wall_ms -= 86_400_000
    clocks.mono_ms = 0  # another boot
    again = Resumer(writer.folder, key, clocks=clocks).go_on(
        program="1", decayed=(), changed=(), restarted=False, files={}
    )
    entries = list(LogReader(again.folder))
    assert entries[-2].data["away_ms"] is None
    assert entries[-2].mono >= note.mono
    again.close()


def test_files_are_private(tmp_path: Path) -> None:
    """Only the driver's own user may read what was said: folders 0700, files 0600."""
    key = tablet_key(tmp_path / "keys")
    writer = Writer.begin(tmp_path / "logs", opened(key.public), key)
    writer.hear(hearing(1))
    keep_audio(writer.folder, np.zeros(160, np.int16))
    writer.close()
    for path in [tmp_path / "keys", tmp_path / "logs", *(tmp_path / "logs").rglob("*"), *(tmp_path / "keys").iterdir()]:
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path


@pytest.mark.parametrize("what", ["a file", "proc"])
def test_impossible_folder(tmp_path: Path, key: TabletKey, what: str) -> None:
    """A log folder that cannot be is one sentence before anything begins."""
    folder = tmp_path / "file" / "logs"
    (tmp_path / "file").write_text("")
    with pytest.raises(HitchcallError, match=r"^Cannot begin the log .*\.$"):
        Writer.begin(folder if what == "a file" else Path("/proc/logs"), opened(key.public), key)
