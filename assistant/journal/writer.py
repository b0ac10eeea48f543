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
from assistant.journal.chain import MAX_LINE, Made, RecordError, canonical, genesis, made
from assistant.journal.clock import SystemClocks, TwoClocks, stamp, unstamp
from assistant.journal.disk import Disk, trouble
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG, Entry
from assistant.journal.records import Clock, Closed, Device, Opened, Record, Sealed
from assistant.journal.room import LineFile
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
        log: LineFile,
        opened: Opened,
        key: TabletKey,
        *,
        clocks: TwoClocks | None = None,
        disk: Disk | None = None,
        salt: Callable[[], str] = lambda: secrets.token_hex(16),
    ) -> None:
        self.folder = log.path.parent
        self.opened = opened
        self.code = ""  # the last code given out
        self.writing_since: float | None = None  # `time.monotonic` of a write that has not ended yet
        self._slowest_s = 0.0  # of the writes nobody has told of yet
        self._clock_set = False
        self._log = log
        self._words: LineFile | None = None
        self._key = key
        self._clocks = clocks or SystemClocks()
        self._disk = disk or Disk()
        self._salt = salt
        self._dead = ""
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
        disk = disk or Disk()
        log = _create(logs / opened.run / LOG, disk)
        new = cls(log, opened, key, clocks=clocks, disk=disk, salt=salt)
        try:
            new.keep_room()
            new.append(opened)
            new.seal()
        except LogError:
            new.close()
            raise
        return new

    def take_over(self, last: Entry) -> int | None:
        """Go on after ``last``, the end of the log; return how long the run lay still, in ms.

        The run's clock goes on from the last record plus that time. None, and no time added, when the
        wall clock stands before the last record's.
        """
        away: int | None = self._clocks.wall() - unstamp(last.wall)
        if away is not None and away < 0:
            away = None
        self._prev, self._seq, self._mono = last.digest, last.seq + 1, last.mono
        self._base -= last.mono + (away or 0)
        return away

    def keep_room(self) -> None:
        """Keep room behind the records from now on: due in a run that begins or goes on, see `room`."""
        self._log.keep_room()

    def now(self) -> int:
        """Return the run's clock: ms since it began, steady, never back."""
        return max(self._mono, self._clocks.mono() - self._base)

    def append(self, record: Record, *, at: int | None = None) -> Made:
        """Put a record on the disk and return its line, with its number and hash.

        ``at`` is the moment it belongs to on the run's clock when that is not now; it may not lie
        before the last record's. Raises `LogError`; the record is then not in the log.
        """
        wall, mono = self._noted(at)
        return self._append(record, wall, mono)

    def hear(self, hearing: Hearing, *, at: int | None = None) -> Made:
        """Append a hearing, its words beside the log if the run's consent covers them."""
        self._noted(at)
        heard, said = said_words.split(hearing, self._seq, self._salt(), keep_words=self.opened.consent_words)
        if said is not None:
            self._or_die("write the words to", self.folder / said_words.FILE, self._add_words, said.line())
        wall, mono = self._times(at)
        return self._append(heard, wall, mono)

    def seal(self) -> str:
        """Give out the short code of everything up to the last record, append and return it."""
        self.code = code_of(self._prev, self.opened.run)
        # Nothing may come between the end and its seal, so no look at clock or disk here.
        wall, mono = self._times(None)
        self._append(Sealed(code=self.code, of=self._seq - 1), wall, mono)
        return self.code

    def finish(self, closed: Closed) -> str:
        """Append the end and its seal, close the file, and return the code to be written down."""
        self.append(closed)
        code = self.seal()
        self.close()
        return code

    def close(self) -> None:
        """Let go of the files; the run can be resumed."""
        self._log.close()
        if self._words is not None:
            self._words.close()
        self._dead = self._dead or f"The log {self._log.path} is closed."

    def _append(self, record: Record, wall: int, mono: int) -> Made:
        if mono < self._mono:
            raise LogError(f"A record at {mono} ms would lie before the last one at {self._mono} ms.")
        seq, kind = self._seq, record.TYPE
        try:
            line = made(
                kind=kind,
                seq=seq,
                wall=stamp(wall),
                mono=mono,
                prev=self._prev,
                data=_data(record),
                sign=self._key.sign if kind in _ALWAYS_SIGNED or seq % SIGN_EVERY == 0 else None,
            )
        except RecordError as error:
            raise LogError(f'A record "{kind}" cannot be written to the log: {error}.') from error
        if len(line.whole) > MAX_LINE:
            raise LogError(f'A record "{kind}" of {len(line.whole)} bytes is too long for the log.')
        self._or_die("write the log", self._log.path, self._log.add, line.whole)
        self._prev, self._seq, self._mono = line.digest, seq + 1, mono
        return line

    def _or_die(self, what: str, path: Path, add: Callable[[bytes], None], line: bytes) -> None:
        if self._dead:
            raise LogError(self._dead)
        self.writing_since = began = time.monotonic()
        try:
            add(line)
        except OSError as error:
            failure = trouble(what, path, error)
            self._dead = str(failure)
            raise failure from error
        finally:
            self.writing_since = None
            self._slowest_s = max(self._slowest_s, time.monotonic() - began)

    def _add_words(self, line: bytes) -> None:
        if self._words is None:
            path = self.folder / said_words.FILE
            fd = self._disk.open(path) if path.exists() else self._disk.create(path)
            self._words = LineFile(self._disk, path, fd, os.fstat(fd).st_size)
            self._disk.sync_folder(self.folder)
        self._words.add(line)

    def clock_was_set(self) -> bool:
        """Return whether the log has noted since the last call that the wall clock was set."""
        was, self._clock_set = self._clock_set, False
        return was

    def _times(self, at: int | None) -> tuple[int, int]:
        """Return what a record of this moment gets: the wall clock and the run's own, ms."""
        return self._clocks.wall(), self.now() if at is None else at

    def _noted(self, at: int | None) -> tuple[int, int]:
        """Note in the log when since the last record the disk was slow, or the wall clock was set.

        Returns the times for the record that follows, as `_times`.
        """
        if self._slowest_s > SLOW_S:
            took, self._slowest_s = self._slowest_s, 0.0
            self._append(Device("disk", "slow", f"A record took {took:.1f} s to be written."), *self._times(at))
        wall, steady = self._clocks.wall(), self._clocks.mono()
        mono = max(self._mono, steady - self._base) if at is None else at
        moved = wall - steady - self._drift
        if abs(moved) >= CLOCK_STEP_MS and self._seq:
            self._drift += moved
            self._append(Clock(moved_ms=moved), wall, mono)
            self._clock_set = True
            return self._times(at)
        return wall, mono


def _create(path: Path, disk: Disk) -> LineFile:
    """Make a run's folder and its log, empty and locked."""
    try:
        disk.make_folder(path.parent)
        log = LineFile(disk, path, disk.create(path), 0)
    except FileExistsError as error:
        raise LogError(f"{path} is there already: give the run another name.") from error
    except OSError as error:
        raise trouble("begin the log", path, error) from error
    try:
        lock(log.fd, path)
        disk.sync_folder(path.parent)
    except OSError as error:
        log.close()
        raise trouble("begin the log", path, error) from error
    except LogError:
        log.close()
        raise
    return log


def lock(fd: int, path: Path) -> None:
    """Make this process the only one that writes a log; LogError when another does."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        raise LogError(f"Another program is writing {path}: end it first, or begin a new run.") from error


def _data(record: Record) -> bytes:
    """Return a record's canonical data; spoken words are kept out of the chain: they could not be forgotten."""
    data = record.to_data()
    encoded = canonical(data, 1)
    if b'"words":' in encoded:  # a quote within a text stands escaped, so only a key looks like this
        if record.TYPE == "decided" and _holds_words(data["event"]):
            raise RecordError("its event holds spoken words, which belong beside the log")
        if record.TYPE == "heard" and _holds_words(data["ears"]):
            raise RecordError("its ears hold spoken words, which belong beside the log")
    return encoded


def _holds_words(value: object) -> bool:
    if isinstance(value, dict):
        if value.get("words"):
            return True
        value = list(value.values())
    if isinstance(value, list | tuple):
        return any(_holds_words(item) for item in value if isinstance(item, dict | list | tuple))
    return False
