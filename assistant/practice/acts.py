"""What each act of the yard does to the rig, in whatever order it is done. Pure; ids as in ``yard.toml``."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from assistant.practice.driving import back_to, driven, forward_to, road, tugged
from assistant.practice.rig import (
    coupled,
    crooked,
    leg_gap,
    on_legs,
    out_of_line,
    pin_over,
    plate,
    tractor_held,
    trailer,
    trailer_held,
    under,
)
from assistant.practice.truth import (
    HEAD_GRIP_MM,
    LEG_TRAVEL_MM,
    RIGHT_BELOW_MM,
    Jaw,
    Lines,
    Place,
    Truth,
)

LINED_UP_MM: Final = 2600.0
SHORT_OF_IT_MM: Final = 1500.0
AT_EDGE_MM: Final = 700.0
FRAME_UNDER_MM: Final = 1500.0
IN_SLOT_MM: Final = 200.0
CLEAR_MM: Final = 3000.0
LIFT_MM: Final = 100.0

Effect = Callable[[Truth, str], Truth]


def _leave_cab(truth: Truth, act: str) -> Truth:
    out = truth.but(place=Place.GROUND, pedal=False)
    if truth.engine and truth.gear and not tractor_held(out):
        return out.harmed("ran-off", act)
    return out


def _go_under(truth: Truth, act: str) -> Truth:
    out = _leave_cab(truth, act).but(place=Place.UNDER)
    if truth.engine and truth.gear and not (tractor_held(out) or (coupled(out) and trailer_held(out))):
        return out.harmed("crushed-under", act)
    return out


def _line_up(truth: Truth, act: str) -> Truth:
    """First straight in front of the trailer, then back until just short of it."""
    moved = driven(truth, act, backwards=True)
    if truth.fit.dolly:
        return moved.did("hook-at-eye")
    if crooked(truth) or truth.reach > LINED_UP_MM:
        crookedly = truth.has("hard-to-see") and "lined-up-once" not in truth.done
        at = moved.but(reach=max(LINED_UP_MM, SHORT_OF_IT_MM), angle=7.0 if crookedly else 0.0)
        return at.did("lined-up-once")
    if not trailer_held(truth) and truth.reach <= LINED_UP_MM and truth.fit.slope > 0:
        moved = moved.harmed("pushed-away", act)
    return moved.but(reach=SHORT_OF_IT_MM).did("stopped-short")


def _back_under(truth: Truth, act: str) -> Truth:
    aside = 100.0 if truth.has("pin-aside") and "drawn-out" not in truth.done else 0.0
    moved = back_to(driven(truth, act, backwards=True).but(aside=aside), AT_EDGE_MM, act)
    return moved.undid("parting").did("at-edge")


def _back_in(truth: Truth, act: str) -> Truth:
    return back_to(driven(truth, act, backwards=True), 0.0, act).undid("parting").did("backed-in")


def _pull_forward(truth: Truth, act: str) -> Truth:
    moved = driven(truth, act)
    if truth.fit.pin_in_slot and not truth.fit.dolly:
        return forward_to(moved, IN_SLOT_MM, act).did("parting")
    return forward_to(moved, FRAME_UNDER_MM, act).did("parting")


def _draw_out(truth: Truth, act: str) -> Truth:
    moved = driven(truth, act)
    if truth.fit.dolly and not under(truth):
        moved = moved.harmed("dolly-dragged", act) if truth.hooked else moved
        return moved.undid("hook-at-eye").did("drawn-out", "tractor-off")
    return forward_to(moved, CLEAR_MM, act).undid("parting", "at-edge").did("drawn-out")


def _pull_clear(truth: Truth, act: str) -> Truth:
    return forward_to(driven(truth, act), CLEAR_MM, act).undid("parting", "at-edge").did("drawn-out")


def _raise_suspension(truth: Truth, act: str) -> Truth:
    beneath = under(truth) and not coupled(truth) and truth.reach < AT_EDGE_MM + 1
    if beneath and (pin_over(truth) or out_of_line(truth)):
        truth = truth.harmed("lifted-on-pin", act)
    return truth.but(lowered=False, engine=True)


def _lower_suspension(truth: Truth, _act: str) -> Truth:
    return truth.but(lowered=True, engine=True)


def _connect_lines(truth: Truth, _act: str) -> Truth:
    crossed = truth.has("lines-crossed") and not truth.done & {"lines-swapped", "lines-marked"}
    return truth.but(lines=Lines.CROSSED if crossed else Lines.RIGHT, place=Place.GROUND)


def _charge(truth: Truth, _act: str) -> Truth:
    return truth.but(knob_in=True, engine=True, place=Place.CAB)


def _release_trailer(truth: Truth, _act: str) -> Truth:
    return truth.but(knob_in=True, valve_set=False)


def _release_tractor(truth: Truth, _act: str) -> Truth:
    return truth.but(tractor_brake=False, place=Place.CAB)


def _tug(truth: Truth, act: str) -> Truth:
    return tugged(driven(truth, act))


def _ease_legs(truth: Truth, act: str) -> Truth:
    return _wound_up(truth, 20.0, act)


def _raise_legs(truth: Truth, act: str) -> Truth:
    return truth if truth.has("legs-jam-up") else _wound_up(truth, LEG_TRAVEL_MM, act)


def _wound_up(truth: Truth, by: float, act: str) -> Truth:
    """Wind the legs up ``by`` mm from the ground; without a plate under it the trailer comes down."""
    if not under(truth):
        return truth.but(leg_mm=truth.leg_mm - by).harmed("dropped", act)
    carried = max(plate(truth), min(trailer(truth), plate(truth) + HEAD_GRIP_MM))
    return truth.but(leg_mm=carried - by + truth.sunk).undid("crank-stowed")


def _wind_legs(truth: Truth, _act: str) -> Truth:
    """Set the trailer's height with the legs: onto the plate when it stands above it, else just below."""
    if truth.has("legs-jam-down"):
        return truth.undid("crank-stowed")
    aim = plate(truth) if under(truth) else truth.fit.ride_mm - RIGHT_BELOW_MM
    return truth.but(leg_mm=aim + truth.sunk).undid("crank-stowed").did("legs-wound")


def _lower_legs(truth: Truth, _act: str) -> Truth:
    if truth.has("legs-jam-down"):
        return truth.undid("crank-stowed")
    if leg_gap(truth) <= 0 and not truth.has("legs-overwound"):
        return truth.undid("crank-stowed")
    over = 15.0 if truth.has("legs-overwound") and "legs-wound" not in truth.done else 0.0
    return truth.but(leg_mm=trailer(truth) + over + truth.sunk).undid("crank-stowed")


def _lift_with_legs(truth: Truth, act: str) -> Truth:
    if truth.has("legs-jam-down"):
        return truth
    lifted = truth.but(leg_mm=max(on_legs(truth), plate(truth)) + LIFT_MM + truth.sunk).undid("crank-stowed")
    return lifted.harmed("lifted-in-jaws", act) if coupled(truth) else lifted.did("hangs-free")


def _pull_release(truth: Truth, act: str) -> Truth:
    if truth.has("handle-broken") or (truth.fit.second_lock and truth.latch):
        return truth
    if truth.jaw_loaded and truth.has("release-stuck"):
        return truth
    opened = truth.but(jaw=Jaw.OPEN, handle_in=False)
    free = coupled(truth) and not (tractor_held(opened) or trailer_held(opened))
    return opened.harmed("rolled-on-release", act) if free else opened


def _remove_chocks(truth: Truth, _act: str) -> Truth:
    return truth.but(chocks=False, place=Place.GROUND)


def _drive_off(truth: Truth, act: str) -> Truth:
    return road(driven(truth, act), act)


def _ease_back(truth: Truth, act: str) -> Truth:
    moved = driven(truth, act, backwards=True)
    if not trailer_held(truth):
        return moved.but(rolled=truth.rolled + 300.0).harmed("pushed-away", act).did("trailer-rolled")
    return moved.but(jaw_loaded=False, slider_loaded=False).did("pressing")


def _reposition(truth: Truth, act: str) -> Truth:
    return driven(truth, act).but(angle=0.0)


def _unlock_slider(truth: Truth, act: str) -> Truth:
    if truth.has("slider-lever-broken") or truth.slider_loaded:
        return truth
    free = truth.but(slider_locked=False)
    return free if trailer_held(truth) else free.harmed("slider-ran", act)


def _slide(truth: Truth, act: str) -> Truth:
    moved = driven(truth, act, backwards=True)
    if truth.slider_locked:
        return moved
    if not trailer_held(truth):
        return moved.harmed("slider-ran", act).did("trailer-rolled")
    return moved.did("new-place")


def _open_pintle(truth: Truth, act: str) -> Truth:
    if truth.has("pintle-jammed"):
        return truth
    loaded = truth.hooked and under(truth)
    opened = truth.but(hooked=False, place=Place.GROUND)
    return opened.harmed("tow-bar-flew-up", act) if loaded else opened


def _stand_outside(truth: Truth, act: str) -> Truth:
    return _leave_cab(truth, act)


ACTS: Final[Mapping[str, Effect]] = {
    "leave-cab": _leave_cab,
    "go-under": _go_under,
    "line-up": _line_up,
    "back-under": _back_under,
    "back-in": _back_in,
    "pull-forward": _pull_forward,
    "draw-out": _draw_out,
    "pull-clear": _pull_clear,
    "raise-suspension": _raise_suspension,
    "lower-suspension": _lower_suspension,
    "connect-lines": _connect_lines,
    "charge-trailer": _charge,
    "release-trailer-brakes": _release_trailer,
    "release-tractor-brake": _release_tractor,
    "tug": _tug,
    "ease-legs": _ease_legs,
    "wind-legs": _wind_legs,
    "lower-legs": _lower_legs,
    "lift-with-legs": _lift_with_legs,
    "raise-legs": _raise_legs,
    "pull-release": _pull_release,
    "look-at-supports": _stand_outside,
    "remove-chocks": _remove_chocks,
    "drive-off": _drive_off,
    "ease-back": _ease_back,
    "reposition": _reposition,
    "unlock-slider": _unlock_slider,
    "slide": _slide,
    "open-pintle": _open_pintle,
}


def act(truth: Truth, name: str) -> Truth:
    """Return the rig after an act; KeyError for one the yard does not know."""
    return ACTS[name](truth, name)
