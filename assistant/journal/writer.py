"""Writing a log: a record counts when it is on the disk, and not before.

`Writer.append` returns when the line is written and synced. After any failure the writer is dead: it
takes back what may stand half-written, and refuses everything else with the same sentence, because a
system that failed to sync once may report success the next time without having written anything.
"""

from __future__ import annotations

import fcntl
import os
import secrets
import time
from collections.abc import Callable
from pathlib import Path
from typing import Self

from assistant.errors import LogError
from assistant.journal import words as said_words
from assistant.journal.anchor import code_of
from assistant.journal.chain import MAX_LINE, RecordError, genesis, made
from assistant.journal.clock import SystemClocks, TwoClocks, stamp, unstamp
from assistant.journal.disk import Disk, trouble, write_all
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG, Entry
from assistant.journal.records import Clock, Closed, Device, Opened, Record, Sealed
from assistant.phrases.live import Hearing

SIGN_EVERY = 8
"""One record in eight is signed, besides the ones in `_ALWAYS_SIGNED`: a signature costs about a third
of a sync on a fast disk, and each vouches for all before it, so at most seven records stand unsigned."""
CLOCK_STEP_MS = 2000
"""A wall clock that runs off by this much between two records was set, not merely imprecise."""

SLOW_S = 2.0
"""A write and sync that takes longer is told of; a common card needs some hundredths (common practice)."""

_ALWAYS_SIGNED = {"opened", "resumed", "closed", "sealed", "forgotten"}


class Writer:
    """The one writer of a run's log; made by `begin` here or by `Resumer.go_on`.

    ``folder`` is the run's own. All times that go in and out are ms on the run's clock, which starts
    at 0 and goes on after an interruption.
    """

    def __init__(
        self,
        folder: Path,
        opened: Opened,
        key: TabletKey,
        *,
        clocks: TwoClocks | None = None,
        disk: Disk | None = None,
        salt: Callable[[], str] = lambda: secrets.token_hex(16),
    ) -> None:
        self.folder = folder
        self.opened = opened
        self.code = ""  # the last code given out
        self.writing_since: float | None = None  # `time.monotonic` of a write that has not ended yet
        self._slowest_s = 0.0  # of the writes nobody has told of yet
        self._clock_set = False
        self._path = folder / LOG
        self._key = key
        self._clocks = clocks or SystemClocks()
        self._disk = disk or Disk()
        self._salt = salt
        self._log = self._words = -1
        self._dead = ""
        self._size = 0
        self._prev, self._seq, self._mono = genesis(opened.run), 0, 0
        self._base = self._clocks.mono()
        self._drift = self._clocks.wall() - self._base

    @classmethod
    def begin(
        cls,
        logs: Path,
        opened: Opened,
        key: TabletKey,
        *,
        clocks: TwoClocks | None = None,
        disk: Disk | None = None,
        salt: Callable[[], str] = lambda: secrets.token_hex(16),
    ) -> Self:
        """Make the folder ``logs/<run id>``, write "opened" and the first "sealed", and return.

        The code of the start is then in ``code``. Raises `LogError` when any of it fails.
        """
        new = cls(logs / opened.run, opened, key, clocks=clocks, disk=disk, salt=salt)
        try:
            new._disk.make_folder(new.folder)
            new._log = new._disk.create(new._path)
            lock(new._log, new._path)
            new._disk.sync_folder(new.folder)
        except FileExistsError as error:
            new.close()
            raise LogError(f"{new._path} is there already: give the run another name.") from error
        except OSError as error:
            new.close()
            raise trouble("begin the log", new._path, error) from error
        try:
            new.append(opened)
            new.seal()
        except LogError:
            new.close()
            raise
        return new

    def take_over(self, fd: int, last: Entry) -> int | None:
        """Go on after ``last`` in an open, locked file; return how long the run lay still, in ms.

        The run's clock goes on from the last record plus that time. None, and no time added, when the
        wall clock stands before the last record's.
        """
        away: int | None = self._clocks.wall() - unstamp(last.wall)
        if away is not None and away < 0:
            away = None
        self._log, self._size = fd, os.fstat(fd).st_size
        self._prev, self._seq, self._mono = last.digest, last.seq + 1, last.mono
        self._base -= last.mono + (away or 0)
        return away

    def now(self) -> int:
        """Return the run's clock: ms since it began, steady, never back."""
        return max(self._mono, self._clocks.mono() - self._base)

    def append(self, record: Record, *, at: int | None = None) -> Entry:
        """Put a record on the disk and return its entry.

        ``at`` is the moment it belongs to on the run's clock when that is not now; it may not lie
        before the last record's. Raises `LogError`; the record is then not in the log.
        """
        self._note_trouble(at)
        return self._append(record, at)

    def hear(self, hearing: Hearing, *, at: int | None = None) -> Entry:
        """Append a hearing, its words beside the log if the run's consent covers them."""
        self._note_trouble(at)
        heard, said = said_words.split(hearing, self._seq, self._salt(), keep_words=self.opened.consent_words)
        if said is not None:
            self._or_die("write the words to", self.folder / said_words.FILE, self._write_words, said.line())
        return self._append(heard, at)

    def seal(self) -> str:
        """Give out the short code of everything up to the last record, append and return it."""
        self.code = code_of(self._prev, self.opened.run)
        # Nothing may come between the end and its seal, so no look at clock or disk here.
        self._append(Sealed(code=self.code, of=self._seq - 1), None)
        return self.code

    def finish(self, closed: Closed) -> str:
        """Append the end and its seal, close the file, and return the code to be written down."""
        self.append(closed)
        code = self.seal()
        self.close()
        return code

    def close(self) -> None:
        """Let go of the files; the run can be resumed."""
        for fd in (self._log, self._words):
            if fd >= 0:
                os.close(fd)
        self._log = self._words = -1
        self._dead = self._dead or f"The log {self._path} is closed."

    def _append(self, record: Record, at: int | None) -> Entry:
        if self._dead:
            raise LogError(self._dead)
        mono = self.now() if at is None else at
        if mono < self._mono:
            raise LogError(f"A record at {mono} ms would lie before the last one at {self._mono} ms.")
        wall = stamp(self._clocks.wall())
        kind, data = record.TYPE, record.to_data()
        sign = self._key.sign if kind in _ALWAYS_SIGNED or self._seq % SIGN_EVERY == 0 else None
        try:
            _refuse_words(kind, data)
            line = made(kind=kind, seq=self._seq, wall=wall, mono=mono, prev=self._prev, data=data, sign=sign)
        except RecordError as error:
            raise LogError(f'A record "{kind}" cannot be written to the log: {error}.') from error
        if len(line.whole) > MAX_LINE:
            raise LogError(f'A record "{kind}" of {len(line.whole)} bytes is too long for the log.')
        self._put(line.whole)
        entry = Entry(
            line=self._seq + 1,
            seq=self._seq,
            kind=kind,
            wall=wall,
            mono=mono,
            prev=self._prev,
            digest=line.digest,
            signature=line.signature,
            signed=line.signed,
            data=data,
        )
        self._prev, self._seq, self._mono = line.digest, self._seq + 1, mono
        return entry

    def _put(self, whole: bytes) -> None:
        self._or_die("write the log", self._path, self._write_line, whole)
        self._size += len(whole)

    def _write_line(self, whole: bytes) -> None:
        write_all(self._disk, self._log, whole)
        self._disk.sync(self._log)
        if os.fstat(self._log).st_nlink == 0:
            # The system goes on writing to a deleted file; nobody could ever read it.
            raise FileNotFoundError(2, "removed")

    def _or_die(self, what: str, path: Path, write: Callable[[bytes], None], data: bytes) -> None:
        self.writing_since = began = time.monotonic()
        try:
            write(data)
        except OSError as error:
            failure = trouble(what, path, error)
            self._dead = str(failure)
            self._take_back()
            raise failure from error
        finally:
            self.writing_since = None
            self._slowest_s = max(self._slowest_s, time.monotonic() - began)

    def _take_back(self) -> None:
        """Cut off what was written but never acknowledged; what cannot be cut is set aside on resume."""
        try:
            self._disk.cut(self._log, self._size)
            self._disk.sync(self._log)
        except OSError:
            return

    def _write_words(self, whole: bytes) -> None:
        if self._dead:
            raise LogError(self._dead)
        path = self.folder / said_words.FILE
        if self._words < 0:
            self._words = self._disk.append_to(path) if path.exists() else self._disk.create(path)
            self._disk.sync_folder(self.folder)
        write_all(self._disk, self._words, whole)
        self._disk.sync(self._words)

    def clock_was_set(self) -> bool:
        """Return whether the log has noted since the last call that the wall clock was set."""
        was, self._clock_set = self._clock_set, False
        return was

    def _note_trouble(self, at: int | None) -> None:
        """Note in the log when since the last record the disk was slow, or the wall clock was set."""
        took, self._slowest_s = self._slowest_s, 0.0
        if took > SLOW_S:
            self._append(Device("disk", "slow", f"A record took {took:.1f} s to be written."), at)
        drift = self._clocks.wall() - self._clocks.mono()
        moved = drift - self._drift
        if abs(moved) >= CLOCK_STEP_MS and self._seq:
            self._drift = drift
            self._append(Clock(moved_ms=moved), at)
            self._clock_set = True


def lock(fd: int, path: Path) -> None:
    """Make this process the only one that writes a log; LogError when another does."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise LogError(f"Another program is writing {path}: end it first, or begin a new run.") from error


def _refuse_words(kind: str, data: dict[str, object]) -> None:
    """Keep spoken words out of the chain, where they could never be forgotten."""
    if kind == "decided" and _holds_words(data["event"]):
        raise RecordError("its event holds spoken words, which belong beside the log")
    if kind == "heard" and _holds_words(data["ears"]):
        raise RecordError("its ears hold spoken words, which belong beside the log")


def _holds_words(value: object) -> bool:
    if isinstance(value, dict):
        if value.get("words"):
            return True
        value = list(value.values())
    if isinstance(value, list | tuple):
        return any(_holds_words(item) for item in value if isinstance(item, dict | list | tuple))
    return False
