"""The room behind the records of a run under way: it may be cut, torn, lacking, but never hide anything."""

from __future__ import annotations

import errno
import itertools
import os
import random
import shutil
from collections.abc import Iterable
from pathlib import Path

import pytest

from assistant.errors import LogError
from assistant.journal import anchor, room
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG, LogReader
from assistant.journal.records import Closed, Note
from assistant.journal.resume import Resumer
from assistant.journal.room import SECTOR
from assistant.journal.verify import State, Verdict, verify
from assistant.journal.writer import Writer
from tests.journal.conftest import SetClocks
from tests.journal.scripted import RUN, answer, opened

SMALL = 4 * SECTOR

pytestmark = pytest.mark.usefixtures("quick", "cheap_codes")


@pytest.fixture
def cheap_codes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make codes cheap where hundreds of runs are written and no code is looked at."""
    monkeypatch.setattr(anchor, "_WORK", 2)


@pytest.fixture
def small_room(monkeypatch: pytest.MonkeyPatch) -> None:
    """Make rooms so small that each of their bytes can be tried."""
    monkeypatch.setattr(room, "ROOM", SMALL)


@pytest.fixture
def under_way(fast: Path, key: TabletKey, small_room: None) -> Iterable[Path]:
    """The folder of a run as a power cut leaves it that falls between two records."""
    yield from left_by_a_cut(fast, key, ended=False)


@pytest.fixture
def ended(fast: Path, key: TabletKey, small_room: None) -> Iterable[Path]:
    """The folder of a run that was killed between its end's seal and the cutting off of its room."""
    yield from left_by_a_cut(fast, key, ended=True)


def left_by_a_cut(fast: Path, key: TabletKey, *, ended: bool) -> Iterable[Path]:
    """Write a run up to the moment of the cut."""
    writer = Writer.begin(fast / "cut", opened(key.public, words=False), key, clocks=SetClocks())
    answer(writer, 1)
    if ended:
        writer.append(Closed("coupled"))
        writer.seal()
    data = (writer.folder / LOG).read_bytes()
    assert data.endswith(b"\0"), "no room stands behind the records"
    writer.close()
    (writer.folder / LOG).write_bytes(data)
    yield writer.folder
    shutil.rmtree(fast / "cut")


def checked(folder: Path, data: bytes, key: TabletKey) -> Verdict:
    """Put bytes in the place of a log and return what verification makes of them."""
    (folder / LOG).write_bytes(data)
    return verify(folder, public=key.public)


def goes_on(folder: Path, key: TabletKey) -> bool:
    """Return whether a run is gone on with and comes to a whole end, without room."""
    writer = Resumer(folder, key, clocks=SetClocks()).go_on(
        program="2", decayed=(), changed=(), restarted=False, files={}
    )
    answer(writer, 2)
    writer.finish(Closed("coupled"))
    return verify(folder, public=key.public).state is State.WHOLE and b"\0" not in (folder / LOG).read_bytes()


def test_a_closed_log_is_plain_lines(tmp_path: Path, key: TabletKey) -> None:
    """Whoever gets a log as evidence can read it with any program; only a run under way ends in noughts."""
    writer = Writer.begin(tmp_path, opened(key.public, words=False), key, clocks=SetClocks())
    answer(writer, 1)
    records = sum(1 for _ in LogReader(writer.folder))
    data = (writer.folder / LOG).read_bytes()
    assert data.count(b"\n") == records
    assert len(data) == room.ROOM
    writer.close()
    assert (writer.folder / LOG).read_bytes() == data.rstrip(b"\0")
    assert goes_on(writer.folder, key)


def test_every_byte_of_the_room_flipped(under_way: Path, key: TabletKey, capsys: pytest.CaptureFixture) -> None:
    """Nothing can be hidden in the room of a run: whatever stands there is told of."""
    data = (under_way / LOG).read_bytes()
    size = len(data.rstrip(b"\0"))
    undetected = torn = 0
    for at in range(size, len(data)):
        spoilt = bytearray(data)
        spoilt[at] ^= 1 << at % 8
        verdict = checked(under_way, bytes(spoilt), key)
        breaks_off = any("breaks off" in note for note in verdict.notes)
        torn += breaks_off
        undetected += verdict.state is not State.BROKEN and not breaks_off
    with capsys.disabled():
        print(f"\n{len(data) - size} bytes of room flipped one at a time: undetected {undetected}")
    assert undetected == 0
    assert torn == 1, "only right behind the records can it be one that was being written"


def test_every_byte_behind_the_end_flipped(ended: Path, key: TabletKey) -> None:
    """Behind the end of a run nothing can stand but room."""
    data = (ended / LOG).read_bytes()
    verdict = checked(ended, data, key)
    assert verdict.state is State.WHOLE
    assert any("noughts stand behind the end" in note for note in verdict.notes)
    for at in range(len(data.rstrip(b"\0")), len(data)):
        spoilt = bytearray(data)
        spoilt[at] ^= 1 << at % 8
        assert checked(ended, bytes(spoilt), key).state is not State.WHOLE, at


@pytest.mark.parametrize("which", ["under_way", "ended"])
def test_room_cut_at_every_byte(which: str, key: TabletKey, request: pytest.FixtureRequest) -> None:
    """How much of the room was made when the power went changes nothing, and no report is made of it."""
    folder = request.getfixturevalue(which)
    data = (folder / LOG).read_bytes()
    size = len(data.rstrip(b"\0"))
    whole = checked(folder, data, key)
    for end in range(size, len(data)):
        verdict = checked(folder, data[:end], key)
        assert (verdict.state, verdict.records) == (whole.state, whole.records), end
        assert not any("breaks off" in note for note in verdict.notes), end
        if which == "under_way" and end % 64 == 0:
            assert goes_on(folder, key), end
    assert not list(folder.glob("*.torn-*"))


def with_sectors(data: bytes, start: int, landed: Iterable[int]) -> bytes:
    """Return a log of which, from ``start`` on, only the named sectors have come to the disk."""
    out = bytearray(data[:start].ljust(len(data), b"\0"))
    for sector in landed:
        place = slice(max(start, sector * SECTOR), (sector + 1) * SECTOR)
        out[place] = data[place]
    return bytes(out)


@pytest.mark.parametrize("length", [10, 700, 6000])
def test_any_sectors_of_the_last_record_lost(
    under_way: Path, key: TabletKey, length: int, capsys: pytest.CaptureFixture
) -> None:
    """A disk writes the sectors of a record in any order: what a power cut leaves of one is set aside, not blamed."""
    writer = Resumer(under_way, key, clocks=SetClocks()).go_on(
        program="2", decayed=(), changed=(), restarted=False, files={}
    )
    before = (under_way / LOG).read_bytes().rstrip(b"\0")
    records = before.count(b"\n")
    writer.append(Note("x" * length))
    data = (under_way / LOG).read_bytes()
    writer.close()
    sectors = range(len(before) // SECTOR, (len(data.rstrip(b"\0")) - 1) // SECTOR + 1)
    chance = random.Random(20310504)
    every = [chosen for many in range(len(sectors)) for chosen in itertools.combinations(sectors, many)]
    blamed = dropped = stuck = 0
    tried = every if len(every) < 40 else chance.sample(every, 40)
    for landed in tried:
        left = with_sectors(data, len(before), landed)
        torn = left[len(before) :].rstrip(b"\0")
        verdict = checked(under_way, left, key)
        told = any("breaks off" in note for note in verdict.notes)
        blamed += (verdict.state, verdict.records, told) != (State.UNFINISHED, records, bool(torn))
        stuck += not goes_on(under_way, key)
        kept = sorted(under_way.glob("log.torn-*"))
        dropped += [path.read_bytes() for path in kept] != ([torn] if torn else [])
        for path in kept:
            path.unlink()
    with capsys.disabled():
        print(
            f"\n{len(tried)} ways to lose some of {len(sectors)} sectors: blamed {blamed}, dropped {dropped}, "
            f"cannot resume {stuck}"
        )
    assert (blamed, dropped, stuck) == (0, 0, 0)


def test_noughts_anywhere_else_are_a_fault(ended: Path, key: TabletKey) -> None:
    """No lost sector excuses noughts within the records, between them, or amid one of the last line's."""
    data = (ended / LOG).read_bytes()
    records = data.rstrip(b"\0")
    last = records[:-1].rindex(b"\n") + 1
    spoilt = [with_sectors(records, at, range(at // SECTOR + 1, 99)) for at in range(0, last - SECTOR, SECTOR)]
    spoilt += [records[:last] + bytes(many) + records[last:] + bytes(SECTOR) for many in (1, SECTOR - 1, SECTOR)]
    middle = (last // SECTOR + 1) * SECTOR + 3
    spoilt += [records[:middle] + bytes(many) + records[middle + many :] for many in (1, 20)]
    for place, bad in enumerate(spoilt):
        assert checked(ended, bad, key).state is State.BROKEN, place


def test_only_room_is_no_run(under_way: Path) -> None:
    """A kill right after the room was made leaves a log in which nothing was begun, and a sentence says so."""
    (under_way / LOG).write_bytes(bytes(SMALL))
    with pytest.raises(LogError, match="is empty: no run was begun in it"):
        list(LogReader(under_way))


@pytest.mark.usefixtures("small_room")
def test_room_is_made_anew(tmp_path: Path, key: TabletKey) -> None:
    """A long run fills many rooms, and a record may be longer than one."""
    writer = Writer.begin(tmp_path, opened(key.public, words=False), key, clocks=SetClocks())
    for number in range(1, 20):
        answer(writer, number)
    writer.append(Note("x" * 3 * SMALL))
    answer(writer, 20)
    assert (writer.folder / LOG).read_bytes().endswith(b"\0")
    writer.finish(Closed("coupled"))
    assert verify(writer.folder, public=key.public).state is State.WHOLE
    assert sum(entry.kind == "decided" for entry in LogReader(writer.folder)) == 20


class Narrow(Disk):
    """Has place for a file of so many bytes, and fails by a certain call while room is made."""

    def __init__(self, size: int, fails: str) -> None:
        self.size, self.fails = size, fails
        self.making = False

    def write(self, fd: int, data: bytes, at: int) -> int:
        """Take what there is place for."""
        self.making = not data.strip(b"\0")
        if self.making and self.fails == "write":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        if at >= self.size:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().write(fd, data[: self.size - at], at)

    def sync(self, fd: int) -> None:
        """Fail for room alone."""
        if self.making and self.fails in {"sync", "cut"}:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        super().sync(fd)

    def cut(self, fd: int, size: int) -> None:
        """Fail after room could not be made."""
        if self.making and self.fails == "cut":
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        super().cut(fd, size)


@pytest.mark.parametrize("fails", ["", "write", "sync", "cut"])
def test_no_room_is_no_end(tmp_path: Path, key: TabletKey, fails: str) -> None:
    """A disk too full for room still takes the run; only a record that cannot be written ends it."""
    size = room.ROOM // 2 if not fails else 10 * room.ROOM
    writer = Writer.begin(tmp_path, opened(key.public, words=False), key, clocks=SetClocks(), disk=Narrow(size, fails))
    for number in range(1, 10):
        answer(writer, number)
    left = (writer.folder / LOG).read_bytes()
    assert left.endswith(b"\0") == (fails == "cut")
    (tmp_path / RUN / LOG).write_bytes(left)
    assert verify(writer.folder, public=key.public).state is State.UNFINISHED
    writer.finish(Closed("coupled"))
    assert verify(writer.folder, public=key.public).state is State.WHOLE


def test_a_failed_record_leaves_nothing_that_counts(tmp_path: Path, key: TabletKey) -> None:
    """A record whose sync failed was told to nobody: it is taken back, and what was before it goes on."""
    disk = Narrow(10 * room.ROOM, "")
    writer = Writer.begin(tmp_path, opened(key.public, words=False), key, clocks=SetClocks(), disk=disk)
    answer(writer, 1)
    before = (writer.folder / LOG).read_bytes().rstrip(b"\0")
    disk.size = len(before) + 100
    with pytest.raises(LogError, match="the disk is full"):
        writer.append(Note("x" * 500))
    assert (writer.folder / LOG).read_bytes() == before
    writer.close()
    assert goes_on(tmp_path / RUN, key)
