"""Typed lines as answers: the same closed set, the same whole-line rule, no sound."""

from __future__ import annotations

import queue
import sys
import threading
import time
from collections.abc import Callable
from typing import TextIO

from assistant.ears.base import Signal
from assistant.ears.control import Controls, is_control, obeyed
from assistant.phrases.live import Hearing, Live, Unheard
from assistant.phrases.match import match

LONGEST_LINE = 400


class TypedEars:
    """Reads one answer a line; the end of the lines ends the run.

    A thread of its own waits for the lines, so that silence can be answered and a hold counted while
    nobody types. ``patient`` says that somebody sits there: a terminal, not a script. Control lines
    count only once ``controls`` has been set, which a practice run does.
    """

    name = "typed"
    patient = False  # lines are waited for as they come

    def __init__(self, lines: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._lines = lines if lines is not None else sys.stdin
        self.patient = self._lines.isatty()
        self._clock = clock
        # Bounded, so that a huge script waits in its file and not in memory.
        self._queue: queue.Queue[str] = queue.Queue(maxsize=64)
        self._next: str | None = None  # a line that was looked at and not taken yet
        self._ended = False
        self.controls: Controls | None = None
        threading.Thread(target=self._read, name="typed-lines", daemon=True).start()

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Return the next line that is not blank, ENDED, or NOTHING when the time passes first."""
        started = self._clock()
        if self._ended:
            return Signal.ENDED
        line = self._look(timeout)
        if line is None:
            return Signal.NOTHING
        self._next = None
        if not line:
            self._ended = True
            return Signal.ENDED
        if self.controls is not None and (signal := obeyed(line, self.controls)) is not None:
            return signal
        return typed_hearing(line, live, started, self._clock(), practice=self.controls is not None)

    def ahead(self, live: Live, timeout: float) -> bool:
        """Whether the next line is there within ``timeout`` and counts now: it may break into a hold."""
        line = self._look(timeout)
        if not line:
            return False
        return (self.controls is not None and is_control(line)) or typed_hearing(line, live).unheard is None

    def close(self) -> None:
        """Nothing to free: the lines belong to who gave them."""

    def _look(self, timeout: float | None) -> str | None:
        """Return the next line without taking it, "" at the end of the lines, None when none comes."""
        if self._next is None:
            try:
                self._next = self._queue.get(timeout=timeout)
            except queue.Empty:
                return None
        return self._next

    def _read(self) -> None:
        try:
            while line := self._lines.readline():
                if line.strip():
                    self._queue.put(line)
        except (ValueError, OSError, UnicodeDecodeError):
            pass  # closed or not text: the same to the run as the end of the lines
        self._queue.put("")


def typed_hearing(
    line: str, live: Live, start: float = 0.0, end: float = 0.0, engine: str = "typed", *, practice: bool = False
) -> Hearing:
    """Return what a typed line comes to; ``engine`` names the pad when a pad stands for the line.

    Of control lines only "#noise" comes here in a ``practice`` run; elsewhere each is told to be one.
    """
    if len(line) > LONGEST_LINE:
        return Hearing(engine, line[:LONGEST_LINE], unheard=Unheard.TOO_LONG, start=start, end=end)
    if is_control(line):
        why = Unheard.NOT_A_PHRASE if practice and line.split() == ["#noise"] else Unheard.CONTROL_LINE
        return Hearing(engine, line.strip(), unheard=why, start=start, end=end)
    found = match(line, live)
    return Hearing(
        engine,
        found.words,
        phrase=found.phrase,
        reading=found.reading,
        unheard=found.unheard,
        who=found.who,
        start=start,
        end=end,
    )
