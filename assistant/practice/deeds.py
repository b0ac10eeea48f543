"""What is done at a step besides its act, and what an answer of trouble leads a driver to do. Pure.

Keyed by the phrase that reports it: whoever says "chocks in place" has put them there, if it could be
done. `deed` tries; the faults of the rig decide whether it comes off.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from assistant.practice.truth import Jaw, Lines, Place, Truth

Deed = Callable[[Truth], Truth]


def _brake(truth: Truth) -> Truth:
    return truth.but(tractor_brake=True, place=Place.CAB, pedal=False)


def _trailer_brake(truth: Truth) -> Truth:
    """Pull the supply knob, and the park valve where the trailer has one; an old trailer's line comes off."""
    off = truth.but(lines=Lines.OFF) if truth.has("rear-line-on") else truth
    return off.but(knob_in=False, valve_set=True)


def _chocks(truth: Truth) -> Truth:
    """Set the chocks; with one missing they are not set, but what stands under a wheel already stays there."""
    return truth.but(chocks=truth.chocks or not truth.has("chock-missing"), place=Place.GROUND)


def _open_jaws(truth: Truth) -> Truth:
    return truth if truth.has("jaws-seized") else truth.but(jaw=Jaw.OPEN, handle_in=False)


def _latch(truth: Truth) -> Truth:
    return truth.but(latch=not truth.has("latch-broken"))


def _lines_off(truth: Truth) -> Truth:
    return truth.but(lines=Lines.OFF, place=Place.GROUND).did("lines-stowed")


def _swap(truth: Truth) -> Truth:
    return truth.but(lines=Lines.RIGHT).did("lines-swapped")


def _pump_down(truth: Truth) -> Truth:
    low = truth.but(tank=min(truth.tank, 80.0), trailer_tank=min(truth.trailer_tank, 80.0), engine=True)
    return low.did("pumped-down")


def _hold_pedal(truth: Truth) -> Truth:
    """Press the pedal: the first drop, some 5 psi (from memory), does not count."""
    return truth.but(place=Place.CAB, pedal=True, tank=truth.tank - 5.0)


def _fill_rear(truth: Truth) -> Truth:
    return truth.but(trailer_tank=100.0).did("rear-tank-full")


def _shut_slider(truth: Truth) -> Truth:
    stays_out = truth.has("slider-will-not-lock") or (truth.has("slider-pin-out") and not truth.slider_locked)
    return truth if stays_out else truth.but(slider_locked=True)


def _drive_pin_home(truth: Truth) -> Truth:
    return truth if truth.has("slider-will-not-lock") else truth.but(slider_locked=True)


def _hook(truth: Truth) -> Truth:
    first = truth.has("pintle-shuts-late") and "hook-tried" not in truth.done
    return truth.but(hooked=not first).did("hook-tried")


def _boards(truth: Truth) -> Truth:
    return truth if truth.has("no-boards") else truth.did("boards-laid")


def _pin_lock(truth: Truth) -> Truth:
    return truth if truth.has("pin-lock-stuck") else truth.did("pin-lock-off")


def _job(*jobs: str) -> Deed:
    return lambda truth: truth.did(*jobs)


def _nothing(truth: Truth) -> Truth:
    return truth


DEEDS: Final[Mapping[str, Deed]] = {
    "parking-brake-set": _brake,
    "in-neutral": lambda truth: truth.but(gear=False),
    "engine-off": lambda truth: truth.but(engine=False),
    "engine-quiet": lambda truth: truth.but(engine=False),
    "no-leak": lambda truth: truth.but(engine=False),
    "trailer-brake-on": _trailer_brake,
    "park-valve-set": lambda truth: truth.but(valve_set=True),
    "chocks-placed": _chocks,
    "second-lock-released": lambda truth: truth.but(latch=False),
    "second-lock-set": _latch,
    "jaws-open": _open_jaws,
    "lines-off": _lines_off,
    "lines-swapped": _swap,
    "cord-connected": lambda truth: truth if truth.has("cord-damaged") else truth.but(cord=True),
    "cord-off": lambda truth: truth.but(cord=False),
    "lines-stowed": _job("lines-stowed"),
    "crank-stowed": _job("crank-stowed"),
    "gauge-lower": _pump_down,
    "holding-now": _hold_pedal,
    "hand-valve-on": lambda truth: truth.but(hand_valve=True),
    "hand-valve-released": lambda truth: truth.but(hand_valve=False),
    "pin-lock-off": _pin_lock,
    "pin-greased": _job("pin-greased"),
    "pin-wiped": _job("pin-wiped"),
    "slider-locked": _shut_slider,
    "boards-laid": _boards,
    "chalk-line-drawn": _job("chalk"),
    "tagged-out": _job("tagged-out"),
    "rear-tank-full": _fill_rear,
    "dolly-brakes-off": _job("dolly-brakes-off"),
    "dolly-in-line": lambda truth: truth.but(angle=0.0),
    "pintle-latched": _hook,
    "dolly-leg-raised": _job("dolly-leg-up"),
    "dolly-leg-lowered": lambda truth: truth.undid("dolly-leg-up"),
    "chains-hooked": _job("chains-hooked"),
    "chains-unhooked": lambda truth: truth.undid("chains-hooked"),
    "dolly-held": lambda truth: truth if truth.has("dolly-moves") else truth.did("dolly-held"),
    "petcock-closed": _job("petcock-closed"),
    "rear-valves-shut": _job("rear-shut"),
    "front-valves-open": lambda truth: truth if truth.has("valve-seized") else truth.did("front-open"),
    "front-valves-shut": lambda truth: truth.undid("front-open"),
    "lines-hang-clear": lambda truth: truth if truth.has("lines-rub") else truth.did("lines-hang"),
    "brakes-answer": lambda truth: truth.but(hand_valve=False),
}
"""Phrase → what is done at a step whose good answer it is."""


def deed(truth: Truth, phrase: str) -> Truth:
    """Return the rig after the work that ``phrase`` would report; unchanged where it only reports a look."""
    return DEEDS.get(phrase, _nothing)(truth)


def marked(truth: Truth) -> Truth:
    """Return the rig when a hold or a timed test begins: the gauge is noted."""
    return truth.but(marked=truth.tank)


def timed(truth: Truth) -> Truth:
    """Return the rig when a hold or a timed test has just ended: the gauge is read off."""
    return truth.but(fallen=max(0.0, truth.marked - truth.tank))


def _cleared(truth: Truth) -> Truth:
    return truth.but(people_near=False)


MENDED: Final[Mapping[str, Deed]] = {
    "somebody-near": _cleared,
    "mate-out-of-sight": lambda truth: truth.but(mate_seen=True),
    "plate-bare": _job("greased-now"),
    "throat-fouled": _job("throat-cleaned"),
    "rails-fouled": _job("rails-cleaned"),
    "slider-loose": _drive_pin_home,
    "brakes-stay-locked": _job("lines-marked"),
    "lines-rub": _job("lines-hang", "lines-moved"),
    "chain-trailing": _job("chains-hooked", "chains-lifted"),
    "dolly-moves": _job("dolly-held", "dolly-chocked"),
    "chocks-not-tight": _job("chocks-set-anew"),
}
"""Phrase → what a driver who has said it puts right before answering again."""


def mended(truth: Truth, phrase: str) -> Truth:
    """Return the rig after a driver has put right what ``phrase`` told."""
    return MENDED.get(phrase, _nothing)(truth)
