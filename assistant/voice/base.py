"""The boundary of the voice: what is said, and what is known about whether it was heard.

A line handed to the voice is never simply "said". It ends in one ``Spoken``, which tells whether
its last sample left the machine, and if not, why not and what stood in for it. The session decides
what to do about it; nothing here raises for a failed line.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal, Protocol

from assistant.voice.loudness import Change

LineKind = Literal["hazard", "step", "read-back", "refusal", "info", "count", "caution"]


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to say: its ``kind``, the ``text`` as written for the screen, a short ``name``.

    ``name`` is a file-name-like word for logs and recordings ("step-set-tractor-brake").
    """

    kind: LineKind
    text: str
    name: str

    @property
    def may_be_cut(self) -> bool:
        """Whether the driver's own speech may stop this line: never a hazard or a session caution."""
        return self.kind not in ("hazard", "caution")


class Tone(StrEnum):
    """The four tones; more cannot be told apart (MIL-STD-1472E 5.3)."""

    HEARD = "heard"
    NOT_UNDERSTOOD = "not-understood"
    REFUSED = "refused"
    STOP = "stop"


class How(StrEnum):
    """What became of a line."""

    SPOKEN = "spoken"  # played, or written, to its last sample
    CUT = "cut"  # stopped by the driver, or dropped unplayed after a cut
    TONE = "tone"  # could not be said; a tone stood in for it and the screen must carry it
    FAILED = "failed"  # neither speech nor tone came out
    SILENT = "silent"  # this voice makes no sound on purpose


@dataclass(frozen=True, slots=True)
class Spoken:
    """The receipt for one line: ``seconds`` is the length of sound put out, ``reason`` one sentence."""

    line: Line
    how: How
    seconds: float = 0.0
    reason: str = ""


class Receipt:
    """What became of the lines of one ``say``; filled in as they end, in their order."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self.lines = tuple(lines)
        self._spoken: list[Spoken] = []
        self._finished = threading.Event()
        if not self.lines:
            self._finished.set()

    def add(self, spoken: Spoken) -> None:
        """Record how the next line ended; called by the voice only."""
        self._spoken.append(spoken)
        if len(self._spoken) == len(self.lines):
            self._finished.set()

    @property
    def spoken(self) -> tuple[Spoken, ...]:
        """The lines that have ended so far."""
        return tuple(self._spoken)

    @property
    def done(self) -> bool:
        """Whether every line has ended, well or not."""
        return self._finished.is_set()

    @property
    def all_said(self) -> bool:
        """Whether every line was played or written to its last sample."""
        return self.done and all(each.how is How.SPOKEN for each in self._spoken)

    @property
    def troubles(self) -> tuple[Spoken, ...]:
        """The lines the driver did not hear because something failed; the screen must show them."""
        return tuple(each for each in self._spoken if each.how in (How.TONE, How.FAILED))

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until every line has ended, at most ``timeout`` seconds; return ``done``."""
        return self._finished.wait(timeout)


Progress = Callable[[int, int], None]
"""Called with (done, all) after each prompt that is made ready."""


def no_progress(_done: int, _all: int) -> None:
    """Tell nobody how far the preparing is."""


def _ignore(_: object) -> None:
    return None


@dataclass(frozen=True, slots=True)
class Hooks:
    """Called on the voice's own thread; they must be quick and must not raise.

    ``started`` comes just before a line's first sample, ``finished`` after its last, ``notice`` with
    one plain sentence when something about the voice changed or failed.
    """

    started: Callable[[Line], None] = _ignore
    finished: Callable[[Spoken], None] = _ignore
    notice: Callable[[str], None] = _ignore


class Voice(Protocol):
    """Says lines. ``say`` and ``tone`` return at once; their receipt tells when and how it ended."""

    @property
    def speaking(self) -> bool:
        """Whether sound is coming out or about to: the ears must not take answers meanwhile."""

    @property
    def firm(self) -> bool:
        """Whether what is being said, or next to be said, may not be cut by an answer."""

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Queue ``lines`` behind what is being said, each in full and in order."""

    def cut(self) -> None:
        """Stop what may be cut, at once, and drop such lines from the queue; hazards go on."""

    def halt(self) -> None:
        """Stop everything at once, hazards too, and drop the queue: for an emergency stop alone."""

    def tone(self, kind: Tone) -> None:
        """Play a tone before the next line."""

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:
        """Make the sound of ``texts`` ready ahead; return each text that failed with its reason."""

    def adjust(self, change: Change) -> bool:
        """Speak slower, faster, louder, quieter, higher or lower from now on; False at the cap."""

    def follow_noise(self, dbfs: float) -> None:
        """Fit the loudness of the following lines to the noise at the microphone, dB of full scale."""

    def close(self) -> None:
        """Finish hazards, stop the rest, end child processes. Safe to call twice."""
