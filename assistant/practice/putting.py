"""What each fault does to the rig at the start of a run, and which rigs can have it. Pure; ids as in ``faults.toml``.

A fault that is not named here lies in wait: it shows only when somebody does or looks at something.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Final

from assistant.practice.rig import trailer_held
from assistant.practice.starts import FAILED_REACH
from assistant.practice.truth import Fit, Jaw, Lines, Truth

Put = Callable[[Truth], Truth]
Fits = Callable[[Fit], bool]

SLOPE: Final = 0.035  # 2 degrees, as in the fatal case of the FACE report of 8 February 2010


def _leg(above_ride: float) -> Put:
    return lambda truth: truth.but(leg_mm=truth.fit.ride_mm + above_ride)


def _fit(**changes: Any) -> Put:
    return lambda truth: truth.but(fit=replace(truth.fit, **changes))


def _so(**changes: Any) -> Put:
    return lambda truth: truth.but(**changes)


def _wear(truth: Truth, limit: str, inches: float) -> Truth:
    return truth.but(fit=replace(truth.fit, wear={**truth.fit.wear, limit: inches}))


def _gripped(jaw: Jaw, *, handle: bool = True) -> Put:
    """Where the rig is coupled, or should be, the jaws hold the pin so; otherwise it comes later."""

    def put(truth: Truth) -> Truth:
        if truth.reach > FAILED_REACH:
            return truth
        legs = truth.fit.ride_mm - 20.0 if truth.reach == FAILED_REACH else truth.leg_mm
        return truth.but(reach=0.0, jaw=jaw, handle_in=handle, leg_mm=legs, jaw_loaded=True)

    return put


def _pulled_apart(truth: Truth) -> Truth:
    if truth.reach != FAILED_REACH:
        return truth
    return truth.but(reach=150.0, jaw=Jaw.IN_FRONT, handle_in=True, tug="failed")


def _nose_struck(truth: Truth) -> Truth:
    return truth.but(leg_mm=truth.fit.ride_mm - 120.0, reach=1400.0)


def _crossed(truth: Truth) -> Truth:
    if truth.lines is Lines.OFF:
        return truth
    return _gripped(Jaw.ON_SHANK)(truth).but(lines=Lines.CROSSED, trailer_tank=90.0)


def _apart(truth: Truth) -> Truth:
    """The tractor stands clear: pin and plates are measured apart."""
    return truth.but(
        reach=6000.0, jaw=Jaw.OPEN, handle_in=False, lines=Lines.OFF, cord=False, knob_in=False,
        valve_set=True, leg_mm=truth.fit.ride_mm - 35.0,
    )  # fmt: skip


def _pin_thin(truth: Truth) -> Truth:
    return _wear(_apart(truth), "pin-lock-diameter", 1.85)


def _play(truth: Truth) -> Truth:
    return _wear(truth, "halves-play", 0.7)


def _legs_down(truth: Truth) -> Truth:
    gripped = _gripped(Jaw.ON_SHANK)(truth)
    return gripped.but(leg_mm=gripped.fit.ride_mm)


def _legs_low(truth: Truth) -> Truth:
    """On a coupled rig the legs hang just off the ground; else they are wound up later."""
    return truth.but(leg_mm=truth.fit.ride_mm - 20.0) if truth.reach == 0.0 else truth


def _latch_off(truth: Truth) -> Truth:
    return truth.but(latch=truth.latch and truth.reach > 0)


def _more_leak(truth: Truth) -> Truth:
    return truth.but(fit=replace(truth.fit, leak_charged=truth.fit.leak_charged + 6.0))


def _on_slope(truth: Truth) -> Truth:
    """On a slope a trailer stands because something holds it: chocks, where its own brakes do not."""
    sloping = truth.but(fit=replace(truth.fit, slope=SLOPE))
    return sloping if trailer_held(sloping) else sloping.but(chocks=True)


PUT: Final[Mapping[str, Put]] = {
    "trailer-high": _leg(25.0),
    "high-hook": _leg(110.0),
    "trailer-low": _leg(-120.0),
    "nose-struck": _nose_struck,
    "jaw-on-head": _gripped(Jaw.ON_HEAD),
    "jaw-in-front": _pulled_apart,
    "handle-not-home": _gripped(Jaw.ON_SHANK, handle=False),
    "handle-broken": _gripped(Jaw.ON_SHANK, handle=False),
    "release-stuck": _gripped(Jaw.ON_SHANK, handle=False),
    "latch-broken": _latch_off,
    "jaws-seized": _so(jaw=Jaw.IN_FRONT, handle_in=True),
    "slider-pin-out": _so(slider_locked=False),
    "slider-loaded": _so(slider_loaded=True),
    "somebody-near": _so(people_near=True),
    "mate-absent": _so(mate_seen=False),
    "lines-crossed": _crossed,
    "chock-slipped": _crossed,
    "line-leaks": _more_leak,
    "legs-jam-up": _legs_low,
    "legs-not-up": _legs_low,
    "legs-bent": _legs_down,
    "slow-compressor": _fit(compressor=0.12),
    "warning-late": _fit(warning=40.0),
    "valves-late": _fit(pop=10.0),
    "cut-out-high": _fit(cut_out=150.0),
    "worn-play": _play,
    "pin-thin": _pin_thin,
    "pin-nicked": _apart,
    "top-plate-cracked": _apart,
    "lock-parts-broken": _apart,
    "pivot-pin-loose": _apart,
    "crooked": _so(angle=8.0),
    "slope": _on_slope,
}
"""Fault → what it does to the rig as a run finds it."""

FITS: Final[Mapping[str, Fits]] = {
    "nose-struck": lambda fit: not fit.pin_in_slot,
    "latch-broken": lambda fit: fit.second_lock,
    "slider-pin-out": lambda fit: fit.slider,
    "slider-misplaced": lambda fit: fit.slider,
    "mate-absent": lambda fit: fit.mate,
    "tank-leaks": lambda fit: not fit.spring_brakes,
}
"""Fault → the rigs that can have it, where not all can."""
