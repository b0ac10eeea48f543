"""When each phrase a driver can say of the rig is true. Pure.

`truthful` gives what somebody who has looked and tells the truth would answer at a step; the first
phrase of the step that is true counts, and none when all would be lies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Final

from assistant.practice import rig
from assistant.practice.passing import sinking
from assistant.practice.rig import SEATED_MM, SLOT_MM
from assistant.practice.truth import HEAD_GRIP_MM, Jaw, Lines, Truth

Test = Callable[[Truth], bool]
_CLEAR_MM: Final = 2500.0


def _has(fault: str, mended: str = "") -> Test:
    """A fault that stays until the job ``mended`` is done."""
    return lambda truth: truth.has(fault) and mended not in truth.done


def _done(job: str) -> Test:
    return lambda truth: job in truth.done


def _no(test: Test) -> Test:
    return lambda truth: not test(truth)


def brake_holds(truth: Truth) -> bool:
    """Whether the tractor's parking brake is set and holds."""
    return truth.tractor_brake and not truth.has("park-brake-weak")


def _clear(truth: Truth) -> bool:
    """Clear, or at most stopped short in front of the trailer; part way out of it is not clear."""
    short = not rig.under(truth) and "parting" not in truth.done
    return truth.reach >= _CLEAR_MM or short or "tractor-off" in truth.done


def _coupled_up(truth: Truth) -> bool:
    return rig.coupled(truth) or truth.reach <= SEATED_MM


def _frame_under(truth: Truth) -> bool:
    return not rig.coupled(truth) and not rig.under(truth) and rig.frame_under(truth)


def _in_slot(truth: Truth) -> bool:
    return not rig.coupled(truth) and SEATED_MM < truth.reach <= SLOT_MM


def _in_line(truth: Truth) -> bool:
    return not rig.pin_over(truth) and not rig.out_of_line(truth)


def _over(truth: Truth) -> bool:
    return rig.under(truth) and rig.pin_over(truth) and not rig.coupled(truth)


def _came_along(truth: Truth) -> bool:
    return truth.tug == "failed" or "trailer-came-along" in truth.done


def leak_heard(truth: Truth) -> bool:
    """Whether air can be heard leaving: the leak must have air behind it."""
    return truth.has("line-leaks") and (rig.charging(truth) or "rear-tank-full" in truth.done)


def _holding(truth: Truth) -> bool:
    return rig.legs(truth) == "down" and not _sinks(truth)


def _sinks(truth: Truth) -> bool:
    return truth.sunk > 0 or sinking(truth)


def _rear_air(truth: Truth) -> bool:
    return rig.charging(truth) and truth.tank > 60 and "front-open" in truth.done


def _fit_for_road(truth: Truth) -> bool:
    holds = truth.jaw is Jaw.ON_SHANK and truth.handle_in and rig.plate_gap(truth) <= HEAD_GRIP_MM
    joined = truth.lines is Lines.RIGHT and truth.cord and truth.tank >= 60
    return holds and joined and rig.legs(truth) == "up" and not truth.chocks


_RAILS_DIRTY: Final = _has("rails-dirty", "rails-cleaned")

_SAYS: Final[Mapping[str, Test]] = {
    "tractor-clear": _clear,
    "tractor-under": _no(_clear),
    "coupled-up": _coupled_up,
    "parking-brake-set": brake_holds,
    "parking-brake-off": _no(brake_holds),
    "in-neutral": lambda truth: not truth.gear,
    "in-gear": lambda truth: truth.gear,
    "engine-off": lambda truth: not truth.engine,
    "engine-running": lambda truth: truth.engine,
    "engine-quiet": lambda truth: not truth.engine,
    "nobody-near": lambda truth: not truth.people_near,
    "only-my-mate": lambda truth: not truth.people_near,
    "somebody-near": lambda truth: truth.people_near,
    "mate-in-sight": lambda truth: truth.mate_seen,
    "mate-out-of-sight": lambda truth: not truth.mate_seen,
    "ground-firm": _no(_has("ground-soft", "boards-laid")),
    "ground-soft": _has("ground-soft", "boards-laid"),
    "boards-laid": _done("boards-laid"),
    "no-boards": _has("no-boards"),
    "load-secure": _no(_has("load-loose")),
    "load-loose": _has("load-loose"),
    "carrying-load": lambda truth: truth.fit.loaded,
    "running-empty": lambda truth: not truth.fit.loaded,
    "trailer-brake-on": rig.trailer_braked,
    "trailer-brake-off": _no(rig.trailer_braked),
    "trailer-brake-released": _no(rig.trailer_braked),
    "valve-faulty": lambda truth: truth.has("trailer-brake-weak") or truth.has("valve-seized"),
    "wheels-still-free": _no(rig.trailer_braked),
    "park-valve-set": lambda truth: truth.valve_set,
    "chocks-placed": lambda truth: truth.chocks and not truth.has("chock-missing"),  # one alone is no pair
    "chocks-stowed": lambda truth: not truth.chocks,
    "chocks-tight": _no(_has("chock-slipped", "chocks-set-anew")),
    "chocks-not-tight": _has("chock-slipped", "chocks-set-anew"),
    "mounting-sound": _no(_has("mounting-cracked")),
    "mounting-faulty": _has("mounting-cracked"),
    "plate-greased": _no(_has("plate-bare", "greased-now")),
    "plate-bare": _has("plate-bare", "greased-now"),
    "liner-sound": _no(_has("plate-bare")),
    "liner-worn": _has("plate-bare"),
    "slider-locked": lambda truth: truth.slider_locked,
    "slider-loose": lambda truth: not truth.slider_locked,
    "slider-in-place": _no(_has("slider-misplaced")),
    "slider-wrong-place": _has("slider-misplaced"),
    "plate-tilts": _no(_has("plate-seized")),
    "plate-stuck": _has("plate-seized"),
    "second-lock-released": lambda truth: not truth.latch,
    "second-lock-set": lambda truth: truth.latch,
    "jaws-open": lambda truth: truth.jaw is Jaw.OPEN,
    "jaws-shut": lambda truth: truth.jaw is not Jaw.OPEN,
    "throat-clean": _no(_has("throat-dirty", "throat-cleaned")),
    "throat-fouled": _has("throat-dirty", "throat-cleaned"),
    "trailer-plate-sound": _no(_has("trailer-plate-bent")),
    "trailer-plate-damaged": _has("trailer-plate-bent"),
    "kingpin-sound": _no(_has("kingpin-worn")),
    "kingpin-worn": _has("kingpin-worn"),
    "pin-lock-off": _done("pin-lock-off"),
    "pin-lock-stuck": _has("pin-lock-stuck"),
    "pin-greased": _done("pin-greased"),
    "pin-wiped": _done("pin-wiped"),
    "lined-up": _no(rig.crooked),
    "crooked": rig.crooked,
    "stopped-short": _done("stopped-short"),
    "suspension-down": lambda truth: truth.lowered or not truth.fit.air_suspension,
    "suspension-up": lambda truth: not truth.lowered,
    "height-right": lambda truth: rig.height(truth) == "right",
    "trailer-too-low": lambda truth: rig.height(truth) == "too low" and not rig.coupled(truth),
    "trailer-too-high": lambda truth: rig.height(truth) == "too high" and not rig.coupled(truth),
    "legs-wound": _done("legs-wound"),
    "lines-connected": lambda truth: truth.lines is not Lines.OFF and not truth.has("seal-damaged"),
    "lines-off": lambda truth: truth.lines is Lines.OFF,
    "lines-still-on": lambda truth: truth.lines is not Lines.OFF,
    "lines-stowed": _done("lines-stowed"),
    "lines-swapped": _done("lines-swapped"),
    "seal-damaged": _has("seal-damaged"),
    "cord-connected": lambda truth: truth.cord and not truth.has("cord-damaged"),
    "cord-off": lambda truth: not truth.cord,
    "cord-damaged": _has("cord-damaged"),
    "lines-hang-clear": _no(_has("lines-rub", "lines-moved")),
    "lines-rub": _has("lines-rub", "lines-moved"),
    "air-on": lambda truth: truth.knob_in and truth.engine,
    "brakes-answer": lambda truth: truth.lines is Lines.RIGHT,
    "brakes-stay-locked": lambda truth: truth.lines is Lines.CROSSED,
    "no-leak": lambda truth: not truth.engine and not leak_heard(truth),
    "leak-heard": leak_heard,
    "at-the-edge": rig.under,
    "pin-clear": _clear,
    "pin-in-line": _in_line,
    "pin-over-throat": _over,
    "pin-out-of-line": rig.out_of_line,
    "pin-in-jaw": _coupled_up,
    "pin-in-slot": _in_slot,
    "pin-in-slot-low": lambda truth: not rig.coupled(truth) and rig.under(truth) and not rig.pin_over(truth),
    "pin-short": lambda truth: not rig.coupled(truth) and rig.under(truth),
    "pin-hangs-free": _done("hangs-free"),
    "frame-under": _frame_under,
    "plate-touching": rig.touching,
    "plate-gap": _no(rig.touching),
    "lock-closed": lambda truth: truth.jaw is not Jaw.OPEN,
    "lock-not-closed": lambda truth: truth.jaw is Jaw.OPEN,
    "legs-just-off": lambda truth: rig.legs(truth) == "just off",
    "legs-down": lambda truth: rig.legs(truth) == "down",
    "legs-up": lambda truth: rig.legs(truth) == "up",
    "legs-jammed": lambda truth: truth.has("legs-jam-down") or truth.has("legs-jam-up"),
    "legs-carrying": lambda truth: rig.coupled(truth) and rig.legs(truth) == "down",
    "legs-are-straight": _no(_has("legs-bent")),
    "legs-bent": _has("legs-bent"),
    "legs-holding": _holding,
    "legs-sinking": _sinks,
    "crank-stowed": _done("crank-stowed"),
    "tug-held": lambda truth: truth.tug == "held",
    "trailer-moved": _came_along,
    "release-home": lambda truth: truth.handle_in,
    "release-out": lambda truth: not truth.handle_in,
    "release-pulled": lambda truth: truth.jaw is Jaw.OPEN,
    "release-stuck": lambda truth: truth.jaw is not Jaw.OPEN and not truth.has("handle-broken"),
    "handle-broken": _has("handle-broken"),
    "nothing-bent": _no(_has("handle-broken")),
    "no-gap": lambda truth: rig.plate_gap(truth) <= HEAD_GRIP_MM,
    "gap-seen": lambda truth: rig.plate_gap(truth) > HEAD_GRIP_MM,
    "jaw-closed": lambda truth: truth.jaw is Jaw.ON_SHANK,
    "jaw-open": lambda truth: truth.jaw in {Jaw.OPEN, Jaw.IN_FRONT},
    "jaw-on-head": lambda truth: truth.jaw is Jaw.ON_HEAD,
    "nothing-damaged": _no(_has("metal-cracked")),
    "bent-or-cracked": _has("metal-cracked"),
    "something-else": _no(_clear),
    "clearance-good": _no(_has("clearance-tight")),
    "clearance-tight": _has("clearance-tight"),
    "lamps-burn": lambda truth: truth.cord and not truth.has("lamp-dead"),
    "lamp-dead": lambda truth: truth.has("lamp-dead") or truth.has("brake-lamp-dead"),
    "brake-lamps-burn": lambda truth: truth.cord and not truth.has("brake-lamp-dead"),
    "gauge-lower": _done("pumped-down"),
    "brakes-are-free": lambda truth: not truth.tractor_brake and not truth.has("brakes-drag"),
    "brakes-drag": _has("brakes-drag"),
    "timing-now": lambda _: True,
    "holding-now": lambda _: True,
    "rig-is-roadworthy": _fit_for_road,
    "doubt-left": _no(_fit_for_road),
    "hand-valve-on": lambda truth: truth.hand_valve,
    "hand-valve-released": lambda truth: not truth.hand_valve,
    "air-rushes-out": _rear_air,
    "no-rush-of-air": _no(_rear_air),
    "rear-valves-shut": _done("rear-shut"),
    "front-valves-open": _done("front-open"),
    "front-valves-shut": _no(_done("front-open")),
    "petcock-closed": _done("petcock-closed"),
    "chains-hooked": lambda truth: "chains-hooked" in truth.done and not _has("chain-trails", "chains-lifted")(truth),
    "chain-trailing": _has("chain-trails", "chains-lifted"),
    "chains-unhooked": _no(_done("chains-hooked")),
    "pintle-latched": lambda truth: truth.hooked,
    "pintle-open": lambda truth: not truth.hooked,
    "hook-will-not-open": lambda truth: truth.hooked and truth.has("pintle-jammed"),
    "hook-at-the-eye": _done("hook-at-eye"),
    "heavier-first": _no(_has("heavier-last")),
    "heavier-last": _has("heavier-last"),
    "rear-tank-full": lambda truth: truth.trailer_tank > 60 and not truth.has("line-leaks"),
    "dolly-out": lambda truth: truth.reach >= _CLEAR_MM,
    "dolly-under": lambda truth: truth.reach < _CLEAR_MM,
    "dolly-part-way": _frame_under,
    "dolly-brakes-off": _done("dolly-brakes-off"),
    "dolly-in-line": _no(rig.crooked),
    "dolly-leg-raised": _done("dolly-leg-up"),
    "dolly-leg-lowered": _no(_done("dolly-leg-up")),
    "dolly-held": lambda truth: "dolly-held" in truth.done,
    "dolly-moves": _no(_done("dolly-held")),
    "pressing-on-pin": _done("pressing"),
    "trailer-rolled": _done("trailer-rolled"),
    "top-plate-whole": _no(_has("top-plate-cracked")),
    "lock-parts-whole": _no(_has("lock-parts-broken")),
    "lock-parts-broken": _has("lock-parts-broken"),
    "pivot-pins-secured": _no(_has("pivot-pin-loose")),
    "pivot-pin-working-out": _has("pivot-pin-loose"),
    "slider-ends-sound": _no(_has("slider-end-missing")),
    "slider-end-missing": _has("slider-end-missing"),
    "chalk-line-drawn": _done("chalk"),
    "tagged-out": _done("tagged-out"),
    "rails-clear": lambda truth: not (truth.has("slider-end-missing") or _RAILS_DIRTY(truth)),
    "rails-fouled": _RAILS_DIRTY,
    "both-pins-drawn": lambda truth: not truth.slider_locked,
    "pins-stay-put": lambda truth: truth.slider_locked and not truth.has("slider-lever-broken"),
    "slider-lever-broken": _has("slider-lever-broken"),
    "new-place-reached": _done("new-place"),
}

KNOWN: Final = frozenset(_SAYS)
"""Every phrase whose truth the yard can tell."""


def true(truth: Truth, phrase: str) -> bool:
    """Whether ``phrase`` is so; KeyError for one the yard does not know."""
    return _SAYS[phrase](truth)


def truthful(truth: Truth, phrases: Iterable[str]) -> str:
    """Return the first of a step's phrases that is true, or "" when each would be a lie."""
    return next((phrase for phrase in phrases if true(truth, phrase)), "")
