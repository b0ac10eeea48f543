"""What a trainer sees of a run: moments, each with its words and what was believed. Plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class What(StrEnum):
    """What kind of moment it is; the page draws each with a shape of its own."""

    BEGIN = "begin"
    PROMPT = "prompt"
    HEARING = "hearing"
    MISHEARD = "misheard"
    DECISION = "decision"
    REFUSAL = "refusal"
    FAILURE = "failure"
    READING = "reading"
    WAIT = "wait"
    EMERGENCY = "emergency"
    DEVICE = "device"
    CLOCK = "clock"
    INTERRUPTION = "interruption"
    NOTE = "note"
    END = "end"
    BROKEN = "broken"


class Lane(StrEnum):
    """Where a moment is drawn."""

    TOLD = "told"
    SAID = "said"
    DECIDED = "decided"
    NOISE = "noise"
    TABLET = "tablet"


@dataclass(frozen=True, slots=True)
class Told:
    """Something the driver was told: from when (ms on the run's clock), its kind, its text.

    ``how`` is "spoken", "cut", "tone", "failed", "silent", "hangs", or "under way" when it was still being
    said.
    """

    at: int
    kind: str
    text: str
    how: str = "spoken"


@dataclass(frozen=True, slots=True)
class Fact:
    """A fact as it was believed; ``doubt`` when an act under way may have changed it."""

    name: str
    value: str
    doubt: bool = False


@dataclass(frozen=True, slots=True)
class Why:
    """What stands beside a refusal: signal word, the reason as it was told, what it rests on, its source.

    ``facts`` are the ones that forbade it, as they were believed.
    """

    signal: str
    text: str
    rests_on: str
    source: str
    facts: tuple[Fact, ...] = ()


@dataclass(frozen=True, slots=True)
class Moment:
    """One moment of a run.

    ``number`` is its record in the log (its line, for one that is no record). ``start`` to ``at`` is when,
    in ms on the run's clock; ``wall`` the tablet's wall clock, UTC. ``title`` and ``text`` are plain
    sentences. ``facts`` is what was believed after it, None when nothing was decided. ``step`` is what was
    asked after it. ``before`` is what the driver had been told in the last minute, for a mistake only.
    ``lines`` are what was spoken; ``audio`` the hash of a kept recording; ``tone`` the name of a tone.
    ``changes`` are the voice settings the driver had asked for by then. ``proven`` is False when the log's
    chain does not vouch for it.
    """

    number: int
    start: int
    at: int
    wall: str
    what: What
    lane: Lane
    title: str
    text: str
    step: str = ""
    step_number: int = 0
    facts: tuple[Fact, ...] | None = None
    why: Why | None = None
    before: tuple[Told, ...] = ()
    lines: tuple[Told, ...] = ()
    audio: str = ""
    tone: str = ""
    by: str = ""
    speech_db: float | None = None
    noise_db: float | None = None
    skipped: int = 0
    changes: tuple[str, ...] = ()
    proven: bool = True

    @property
    def mistake(self) -> bool:
        """Whether a trainer would stop here: refused, failed, or a reading outside its limit."""
        return self.what in {What.REFUSAL, What.FAILURE}
