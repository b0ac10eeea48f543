"""What may be heard at one moment, and what a hearing comes to.

These types are the boundary between the ears and everything else. They are plain data so that a
typed line, a WAV file, a microphone and a pad on the screen all end in the same thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum


class Role(StrEnum):
    """Who speaks in a run."""

    DRIVER = "driver"
    MATE = "mate"


@dataclass(frozen=True, slots=True)
class Live:
    """The closed set that counts now.

    ``phrases`` maps a phrase id to the ways to say it (lower case, single spaces, no punctuation).
    ``critical`` ids need two recognisers of different make to agree; ``emergency`` ids need one.
    ``reading`` is the kind of number that is due ("pressure", "length", "time", "angle") or None.
    ``mate`` is the call-sign prefix that marks an answer as the mate's ("mate"), or "" when the run
    has no mate; with a mate, "mate <phrase>" counts as the mate's own phrase. ``book`` are all ways of
    saying anything in the run, live now or not: what does not count now is not to be taken for what does.
    """

    lang: str
    phrases: Mapping[str, tuple[str, ...]]
    critical: frozenset[str] = frozenset()
    emergency: frozenset[str] = frozenset()
    reading: str | None = None
    mate: str = ""
    book: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Reading:
    """A spoken number: exact decimal ``value``, canonical ``unit`` or None when none was said.

    Units: "psi", "kPa", "bar", "in", "mm", "s", "min", "deg". ``words`` is what was heard.
    """

    value: Decimal
    unit: str | None
    words: str


class Unheard(StrEnum):
    """Why a hearing is no answer. The text for people lives in the word files, by this code."""

    SILENCE = "silence"  # no speech in the audio
    NOT_A_PHRASE = "not-a-phrase"  # something was said; it is not exactly one live phrase
    EARS_DISAGREE = "ears-disagree"  # an answer on which the two ears differ
    UNSURE = "unsure"  # a critical answer that both ears put first, but not surely
    ONE_EAR_ONLY = "one-ear-only"  # a critical answer, and there is only one ear
    TOO_LOUD = "too-loud"  # not understood, or not taken, in loud noise
    CLIPPED = "clipped"  # the microphone is overdriven
    DAMAGED = "damaged"  # samples were lost on the way
    TOO_LONG = "too-long"  # longer than any phrase can be
    BAD_NUMBER = "bad-number"  # number words that form no number we know
    CONTROL_LINE = "control-line"  # a typed line that begins with "#", outside practice or of no known kind


@dataclass(frozen=True, slots=True)
class Hearing:
    """One utterance and what it came to.

    Exactly one of ``phrase``, ``reading`` and ``unheard`` is set. ``words`` is the raw text of the
    deciding recogniser, ``engine`` its name ("typed", "pad", "moonshine-tiny.en+whisper-tiny.en" …).
    ``audio_sha256`` is the hash of the 16 kHz 16-bit mono samples, "" when there is no sound.
    ``start`` and ``end`` are seconds on the listener's clock. Levels are dB relative to full scale.
    ``ears`` holds each recogniser's own verdict for the log: name → {"words": …, "phrase": …, …}.
    """

    engine: str
    words: str = ""
    phrase: str | None = None
    reading: Reading | None = None
    unheard: Unheard | None = None
    who: Role = Role.DRIVER
    audio_sha256: str = ""
    start: float = 0.0
    end: float = 0.0
    speech_db: float | None = None
    noise_db: float | None = None
    ears: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
