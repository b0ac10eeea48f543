"""What gauges, watches and rules show of the rig: the true value of every reading that is asked for. Pure.

A driver takes some of them by doing something first (letting the compressor build up, pumping the
pressure down); `take` does that too. Values are psi, inches and seconds; `in_unit` gives them in the
unit the yard uses, rounded as a person reads a gauge.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Final

from assistant.phrases.units import convert
from assistant.practice.passing import air_rates, pass_time
from assistant.practice.truth import Truth

LONGEST_MS: Final = 600_000
_A_WHILE_MS: Final = 5_000

GOOD_WEAR: Final[Mapping[str, float]] = {
    "halves-play": 0.2,
    "pivot-play": 0.1,
    "slider-play": 0.1,
    "pin-lock-diameter": 1.97,
    "pin-upper-diameter": 2.85,
    "plate-wear": 0.03,
    "pintle-play": 0.1,
}
"""Wear of a rig in good order, inches: within every limit, from memory."""

_STEP: Final = {"psi": "0.1", "kPa": "1", "bar": "0.01", "in": "0.01", "mm": "0.1", "s": "1", "min": "0.1"}


def _until(truth: Truth, enough: Callable[[Truth], bool]) -> Truth:
    waited = 0
    while waited < LONGEST_MS and not enough(truth):
        truth = pass_time(truth, _A_WHILE_MS)
        waited += _A_WHILE_MS
    return truth


def _working(truth: Truth) -> tuple[float, Truth]:
    started = truth.but(engine=True)
    after = _until(started, lambda now: now.tank >= now.fit.cut_in + 5.0)
    return after.tank, after


def _build_up(truth: Truth) -> tuple[float, Truth]:
    """Seconds from 85 to 100 psi, US model commercial driver licence manual section 5."""
    pumping = truth.but(engine=True, tank=85.0, trailer_tank=85.0, pumping=True, pedal=False)
    rate, _ = air_rates(pumping)
    seconds = 15.0 / rate if rate > 0.02 else 750.0
    return seconds, pass_time(pumping, round(seconds * 1000))


def _cut_out(truth: Truth) -> tuple[float, Truth]:
    started = truth.but(engine=True, pumping=True)
    after = _until(started, lambda now: not now.pumping)
    return (after.fit.cut_out if not after.pumping else after.tank), after


def _leak(truth: Truth) -> tuple[float, Truth]:
    """What the gauge had fallen by when the time was up, however long the driver then took to say it."""
    return truth.fallen, truth.but(pedal=False)


def _cut_in(truth: Truth) -> tuple[float, Truth]:
    return truth.fit.cut_in, truth.but(engine=True, pumping=False, tank=truth.fit.cut_in)


def _low_air(truth: Truth) -> tuple[float, Truth]:
    return truth.fit.warning, truth.but(engine=False, tank=truth.fit.warning)


def _protection(truth: Truth) -> tuple[float, Truth]:
    return truth.fit.pop, truth.but(engine=False, tank=truth.fit.pop, knob_in=False)


def _spring(truth: Truth) -> tuple[float, Truth]:
    return truth.fit.pop, truth.but(engine=False, tank=truth.fit.pop, tractor_brake=True)


_TAKEN: Final[Mapping[str, Callable[[Truth], tuple[float, Truth]]]] = {
    "working-pressure": _working,
    "build-up": _build_up,
    "cut-out": _cut_out,
    "leak-static": _leak,
    "leak-static-three": _leak,
    "leak-applied": _leak,
    "leak-applied-three": _leak,
    "cut-in": _cut_in,
    "low-air": _low_air,
    "protection-pop": _protection,
    "spring-pop": _spring,
}

KNOWN: Final = frozenset({*_TAKEN, *GOOD_WEAR})
"""Every limit whose reading the yard can give."""


def take(truth: Truth, limit: str) -> tuple[float, Truth]:
    """Return a reading (psi, in or s) and the rig after taking it; KeyError for a limit it does not know."""
    if limit in GOOD_WEAR:
        return truth.fit.wear.get(limit, GOOD_WEAR[limit]), truth
    return _TAKEN[limit](truth)


def in_unit(value: float, limit: str, unit: str) -> Decimal:
    """Return a reading in the yard's unit, rounded to what a gauge or rule shows."""
    own = "in" if limit in GOOD_WEAR else "s" if limit == "build-up" else "psi"
    exact = convert(Decimal(str(round(value, 4))), own, unit)
    return exact.quantize(Decimal(_STEP[unit]))
