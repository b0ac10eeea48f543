"""Typed lines as answers: the same closed set, the same whole-line rule, no sound."""

from __future__ import annotations

import queue
import sys
import threading
import time
from collections.abc import Callable
from typing import TextIO

from assistant.ears.base import Signal
from assistant.phrases.live import Hearing, Live, Unheard
from assistant.phrases.match import match

LONGEST_LINE = 400


class TypedEars:
    """Reads one answer a line; the end of the lines ends the run.

    A thread of its own waits for the lines, so that silence can be answered and a hold counted while
    nobody types. ``patient`` says that somebody sits there: a terminal, not a script.
    """

    name = "typed"
    patient = False  # lines are waited for as they come

    def __init__(self, lines: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._lines = lines if lines is not None else sys.stdin
        self.patient = self._lines.isatty()
        self._clock = clock
        # Bounded, so that a huge script waits in its file and not in memory.
        self._queue: queue.Queue[str] = queue.Queue(maxsize=64)
        self._ended = False
        threading.Thread(target=self._read, name="typed-lines", daemon=True).start()

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Return the next line that is not blank, ENDED, or NOTHING when the time passes first."""
        started = self._clock()
        if self._ended:
            return Signal.ENDED
        try:
            line = self._queue.get(timeout=timeout)
        except queue.Empty:
            return Signal.NOTHING
        if not line:
            self._ended = True
            return Signal.ENDED
        return typed_hearing(line, live, started, self._clock())

    def close(self) -> None:
        """Nothing to free: the lines belong to who gave them."""

    def _read(self) -> None:
        try:
            while line := self._lines.readline():
                if line.strip():
                    self._queue.put(line)
        except (ValueError, OSError, UnicodeDecodeError):
            pass  # closed or not text: the same to the run as the end of the lines
        self._queue.put("")


def typed_hearing(line: str, live: Live, start: float = 0.0, end: float = 0.0, engine: str = "typed") -> Hearing:
    """Return what a typed line comes to; ``engine`` names the pad when a pad stands for the line."""
    if len(line) > LONGEST_LINE:
        return Hearing(engine, line[:LONGEST_LINE], unheard=Unheard.TOO_LONG, start=start, end=end)
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
