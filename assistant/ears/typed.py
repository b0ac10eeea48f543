"""Typed lines as answers: the same closed set, the same whole-line rule, no sound."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from typing import TextIO

from assistant.ears.base import Signal
from assistant.phrases.live import Hearing, Live, Unheard
from assistant.phrases.match import match

LONGEST_LINE = 400


class TypedEars:
    """Reads one answer a line; the end of the lines ends the run.

    Lines are waited for as long as it takes: who types is there, so ``timeout`` is not used.
    """

    name = "typed"

    def __init__(self, lines: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self._lines = lines if lines is not None else sys.stdin
        self._clock = clock

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:  # noqa: ARG002 - see class
        """Return the next line that is not blank, or ENDED."""
        started = self._clock()
        while line := self._lines.readline():
            if line.strip():
                return typed_hearing(line, live, started, self._clock())
        return Signal.ENDED

    def close(self) -> None:
        """Nothing to free: the lines belong to who gave them."""


def typed_hearing(
    line: str, live: Live, start: float = 0.0, end: float = 0.0, engine: str = "typed"
) -> Hearing:
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
