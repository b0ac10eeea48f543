"""Going on with a run: what a power cut left is looked over, set aside and reported, never dropped."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import LogError
from assistant.journal import words as said_words
from assistant.journal.clock import TwoClocks
from assistant.journal.disk import Disk, trouble, write_all
from assistant.journal.fold import Input, as_input
from assistant.journal.keys import TabletKey, signed_by
from assistant.journal.reader import LOG, Entry, LogReader
from assistant.journal.records import Decided, Opened, Resumed
from assistant.journal.room import LineFile, written
from assistant.journal.writer import Writer, lock


@dataclass(frozen=True, slots=True)
class Found:
    """What stands in a log that is to be gone on with.

    ``inputs`` is what the engine got so far, to be folded; ``files`` the procedure files as last recorded.
    ``torn`` names the files, new and from interrupted resumes before, that hold a cut-off end nobody
    has reported yet; ``torn_bytes`` is their size. ``ended`` is set when the run has come to its end and
    only the end's seal is missing: then `Resumer.seal_end` is due, and `Resumer.go_on` is not.
    """

    opened: Opened
    last: Entry
    files: Mapping[str, object]
    inputs: tuple[Input, ...]
    torn: tuple[str, ...]
    torn_bytes: int
    ended: bool = False


class Resumer:
    """Holds a log open and locked between looking it over and going on with it.

    The caller folds ``found.inputs`` after construction, finds out what has decayed
    and what has changed, and then calls `go_on`.
    """

    def __init__(
        self,
        folder: Path,
        key: TabletKey,
        *,
        clocks: TwoClocks | None = None,
        disk: Disk | None = None,
        after_end: bool = False,
    ) -> None:
        """Lock, check and mend; a run with a sealed end only with ``after_end``.

        Raises `LogError`: not a log, in use, ended, altered, or unwritable.
        """
        self.folder = folder
        self._key, self._clocks, self._disk = key, clocks, disk or Disk()
        self._path = folder / LOG
        self._after_end = after_end
        try:
            self._fd = self._disk.open(self._path)
        except OSError as error:
            raise trouble("open the log", self._path, error) from error
        try:
            lock(self._fd, self._path)
            self.found = self._look()
        except OSError as error:
            os.close(self._fd)
            raise trouble("mend the log", self._path, error) from error
        except LogError:
            os.close(self._fd)
            raise

    def go_on(
        self,
        *,
        program: str,
        decayed: tuple[str, ...],
        changed: tuple[str, ...],
        restarted: bool,
        files: Mapping[str, str],
    ) -> Writer:
        """Append "resumed" and a seal, and return the writer. Arguments as in `records.Resumed`."""
        if self.found.ended:
            raise LogError(f"The run in {self.folder} has ended: begin a new one.")
        writer, away = self.writer()
        resumed = Resumed(
            program=program,
            decayed=decayed,
            changed=changed,
            restarted=restarted,
            torn=self.found.torn,
            torn_bytes=self.found.torn_bytes,
            away_ms=away,
            files=dict(files),
        )
        try:
            writer.keep_room()
            writer.append(resumed)
            writer.seal()
        except LogError:
            writer.close()
            raise
        return writer

    def seal_end(self) -> str:
        """Append the end's seal that an interruption left out, close the file and return the code."""
        writer, _ = self.writer()
        try:
            return writer.seal()
        finally:
            writer.close()

    def close(self) -> None:
        """Let go of a log that is not gone on with after all."""
        os.close(self._fd)

    def writer(self) -> tuple[Writer, int | None]:
        """Return a writer that goes on after the last record, and the ms since it."""
        log = LineFile(self._disk, self._path, self._fd, self._size)
        writer = Writer(log, self.found.opened, self._key, clocks=self._clocks, disk=self._disk)
        return writer, writer.take_over(self.found.last)

    def _look(self) -> Found:
        reader = LogReader(self.folder)
        told: set[str] = set()
        files: Mapping[str, object] = {}
        last = signed = None
        ended = False
        inputs = []
        for entry in reader:
            last = entry
            signed = entry if entry.signature else signed
            record = entry.record
            if isinstance(record, Decided):
                inputs.append(as_input(entry, record))
            if isinstance(record, Opened | Resumed):
                files = record.files
            if isinstance(record, Resumed):
                told.update(record.torn)
            if ended and not self._after_end:
                raise LogError(f"The run in {self.folder} has ended: begin a new one.")
            ended = ended or entry.kind == "closed"
        if last is None or reader.opened is None:
            raise LogError(f"{self._path} holds no whole record: begin a new run.")
        self._check_key(reader.opened, signed)
        self._size = reader.end
        if reader.torn is not None:
            with self._path.open("rb") as file:
                self._set_aside("log", self._fd, reader.end, written(file))
        self._mend_words()
        torn = sorted(path for path in self.folder.glob("*.torn-*") if path.name not in told)
        return Found(
            opened=reader.opened,
            last=last,
            files=files,
            inputs=tuple(inputs),
            torn=tuple(path.name for path in torn),
            torn_bytes=sum(path.stat().st_size for path in torn),
            ended=ended,
        )

    def _check_key(self, opened: Opened, signed: Entry | None) -> None:
        if opened.key != self._key.public:
            raise LogError(f"The run in {self.folder} was begun on another tablet: go on with it there.")
        if signed is None or not signed_by(opened.key, signed.signed, signed.signature):
            raise LogError(
                f"The log {self._path} does not carry this tablet's signature, so it was altered: keep it as "
                "it is and begin a new run."
            )

    def _mend_words(self) -> None:
        path = self.folder / said_words.FILE
        if not path.exists():
            return
        fd = self._disk.open(path)
        try:
            data = path.read_bytes()
            good = data.rfind(b"\n") + 1
            if good < len(data):
                self._set_aside("words", fd, good, len(data))
        finally:
            os.close(fd)

    def _set_aside(self, name: str, fd: int, good: int, end: int) -> None:
        """Copy what stands from ``good`` bytes to ``end`` to a new file, sync that, and only then cut it off."""
        number = 1 + len(list(self.folder.glob(f"{name}.torn-*")))
        copy = self._disk.create(self.folder / f"{name}.torn-{number}")
        try:
            at = good
            while part := os.pread(fd, min(1 << 20, end - at), at):
                write_all(self._disk, copy, part, at - good)
                at += len(part)
            self._disk.sync(copy)
        finally:
            os.close(copy)
        self._disk.sync_folder(self.folder)
        if at < end:
            raise LogError(f"The torn end of {self.folder / name} could not be read whole.")
        self._disk.cut(fd, good)
        self._disk.sync(fd)
