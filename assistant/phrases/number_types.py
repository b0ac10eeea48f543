"""Types shared by the number grammars of all languages."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol


class Kind(StrEnum):
    """What a number measures; the same words as ``Live.reading``."""

    PRESSURE = "pressure"
    LENGTH = "length"
    TIME = "time"
    ANGLE = "angle"


UNITS: dict[Kind, tuple[str, ...]] = {
    Kind.PRESSURE: ("psi", "kPa", "bar"),
    Kind.LENGTH: ("in", "mm"),
    Kind.TIME: ("s", "min"),
    Kind.ANGLE: ("deg",),
}
"""The canonical units of each kind."""

MAX_WHOLE = 9_999
"""The largest number the grammars know: fifth-wheel heights in mm and pressures in kPa fit."""

MAX_PLACES = 5
"""Digits after the point: enough for every thirty-second of an inch (1/32 = 0.03125)."""


class Trouble(StrEnum):
    """Why number words form no reading."""

    NO_NUMBER = "no-number"  # no number word at all
    UNKNOWN_WORD = "unknown-word"  # a word that belongs to no number
    RUN_TOGETHER = "run-together"  # "one ten", "twenty twenty": could be two different numbers
    LOST_START = "lost-start"  # "hundred twenty", "point five": the first word may be cut off
    LEADING_ZERO = "leading-zero"  # "zero five": the first digit may be cut off
    WRONG_UNIT = "wrong-unit"  # seconds where a pressure is due
    BAD_FRACTION = "bad-fraction"  # "thirty eighths", "three eighths bar"
    TOO_LARGE = "too-large"  # above MAX_WHOLE
    TOO_FINE = "too-fine"  # more than MAX_PLACES digits after the point


@dataclass(frozen=True, slots=True)
class NumberRefused:
    """No reading: ``trouble`` is the code, ``reason`` one plain sentence that says what to do."""

    trouble: Trouble
    reason: str


class Rng(Protocol):
    """The part of ``random.Random`` that sampling needs; passed in, never imported here."""

    def random(self) -> float:
        """Return a number in [0, 1)."""
