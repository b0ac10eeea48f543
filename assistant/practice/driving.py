"""The tractor moving along the lane, and what it meets there. Pure."""

from __future__ import annotations

from typing import Final

from assistant.practice.rig import (
    coupled,
    crooked,
    leg_gap,
    out_of_line,
    pin_over,
    plate,
    plate_gap,
    trailer,
    trailer_braked,
    trailer_held,
    under,
)
from assistant.practice.truth import (
    HEAD_GRIP_MM,
    LEG_UP_MM,
    NOSE_MM,
    PIN_MM,
    PLATE_MM,
    TOO_LOW_MM,
    Jaw,
    Lines,
    Place,
    Truth,
)

HOSE_MM: Final = 700.0  # slack of the air lines and the cord: common practice, no source
PAST_MM: Final = -150.0  # a pin over the jaws stops where the trailer's nose meets the cab
SHORT_MM: Final = 80.0  # a pin that stopped short of the jaws
HOLLOW_MM: Final = 70.0  # a hollow that tractor wheels drop into while backing in: common practice, no source
APART_MM: Final = 150.0  # how far a tug pulls the tractor out from a pin it does not hold


def driven(truth: Truth, act: str, *, backwards: bool = False) -> Truth:
    """Return the rig with the tractor under way: engine on, in gear, its brake off, the driver in the cab."""
    moving = truth.but(place=Place.CAB, engine=True, gear=True, tractor_brake=False, pedal=False)
    if truth.people_near:
        moving = moving.harmed("crushed", act)
    if backwards and truth.fit.mate and not truth.mate_seen:
        moving = moving.harmed("mate-crushed", act)
    return moving


def back_to(truth: Truth, reach: float, act: str) -> Truth:
    """Back the tractor until the jaws stand ``reach`` mm ahead of the pin, or until something stops it."""
    edge = NOSE_MM + PLATE_MM
    moved = truth
    if truth.reach >= edge > reach:
        moved = _meets_nose(moved, act)
        if any(harm.kind == "nose-strike" and harm.act == act for harm in moved.harms):
            return moved.but(reach=edge)
    if reach < edge and not trailer_held(truth) and (not pin_over(truth) or truth.reach < edge):
        moved = moved.harmed("pushed-away", act)
    return _at_pin(moved, act) if reach <= 0 < truth.reach else moved.but(reach=reach)


def _meets_nose(truth: Truth, act: str) -> Truth:
    if trailer(truth) < plate(truth) - TOO_LOW_MM:
        return truth.harmed("nose-strike", act)
    return truth.harmed("legs-bent", act) if crooked(truth) else truth


def _at_pin(truth: Truth, act: str) -> Truth:
    """The pin comes to the jaws."""
    if pin_over(truth):
        return truth.but(reach=PAST_MM).harmed("pin-rode-over", act)
    if out_of_line(truth):
        return truth.but(reach=SHORT_MM).harmed("pin-struck", act)
    if truth.jaw is not Jaw.OPEN:
        return truth.but(reach=SHORT_MM).harmed("jaws-struck", act)
    if once(truth, "pin-short"):
        return truth.but(reach=SHORT_MM).did("pin-short-met")
    if once(truth, "jaw-in-front"):
        return truth.but(reach=SHORT_MM, jaw=Jaw.IN_FRONT, handle_in=True).did("jaw-in-front-met")
    if once(truth, "jaw-on-head"):
        truth = truth.but(hollow=HOLLOW_MM).did("jaw-on-head-met")
    gap = plate_gap(truth)
    if gap >= PIN_MM:
        return truth.but(reach=PAST_MM).harmed("pin-rode-over", act)
    jaw = Jaw.ON_SHANK if gap <= HEAD_GRIP_MM else Jaw.ON_HEAD
    home = not once(truth, "handle-not-home")
    return truth.but(reach=0.0, jaw=jaw, handle_in=home, jaw_loaded=True).did("handle-not-home-met")


def once(truth: Truth, fault: str) -> bool:
    """Whether a fault of the place or the moment strikes: when the tractor comes again, it does not."""
    return truth.has(fault) and f"{fault}-met" not in truth.done


def forward_to(truth: Truth, reach: float, act: str) -> Truth:
    """Draw the tractor forward until the jaws stand ``reach`` mm ahead of the pin, unless it is held."""
    if coupled(truth):
        return _with_trailer(truth, act)
    moved = truth
    if reach - truth.reach > HOSE_MM and truth.lines is not Lines.OFF:
        moved = moved.but(lines=Lines.OFF).did("torn").harmed("lines-torn", act)
    if reach - truth.reach > HOSE_MM and truth.cord:
        moved = moved.but(cord=False).did("torn").harmed("cord-torn", act)
    if under(truth) and reach >= NOSE_MM + PLATE_MM:
        moved = _leaves(moved, act)
    at = max(reach, truth.reach)
    return moved.but(reach=at, hollow=truth.hollow if at < NOSE_MM + PLATE_MM else 0.0)


def _leaves(truth: Truth, act: str) -> Truth:
    """The plate comes out from under the trailer, whose legs carry it or do not."""
    drop = leg_gap(truth)
    if drop > LEG_UP_MM:
        return truth.but(leg_mm=trailer(truth) - drop).harmed("dropped", act)
    if drop > HEAD_GRIP_MM and truth.fit.loaded and drop > RIGHT_DROP_MM:
        return truth.harmed("legs-slammed", act)
    return truth.harmed("legs-bent", act) if crooked(truth) else truth


RIGHT_DROP_MM: Final = 50.0
"""A trailer may settle this far onto its legs: it was lifted as much when it was coupled."""


def _with_trailer(truth: Truth, act: str) -> Truth:
    """The trailer is on the tractor: it comes along, or its brakes hold both."""
    if trailer_held(truth):
        return truth.but(jaw_loaded=True)
    moved = truth.but(rolled=truth.rolled + 500.0).did("trailer-came-along")
    return moved.harmed("legs-dragged", act) if leg_gap(truth) <= HEAD_GRIP_MM else moved


def tugged(truth: Truth) -> Truth:
    """Pull gently against the trailer: it holds, comes along, or the tractor comes out of it."""
    if not coupled(truth):
        return truth.but(tug="failed", reach=truth.reach + APART_MM)
    if trailer_braked(truth) or truth.chocks:
        return truth.but(tug="held", jaw_loaded=True)
    return truth.but(tug="failed", rolled=truth.rolled + 300.0).did("trailer-came-along")


def road(truth: Truth, act: str) -> Truth:
    """Drive off: everything that is not right happens on the way."""
    wrongs = [
        ("trailer-lost", truth.jaw is not Jaw.ON_SHANK or not truth.handle_in),
        ("trailer-lost", truth.fit.second_lock and not truth.latch),
        ("dragged-locked", trailer_braked(truth)),
        ("no-trailer-brakes", truth.lines is not Lines.RIGHT),
        ("lines-torn", truth.lines is not Lines.OFF and "lines-hang" not in truth.done),
        ("drove-dark", not truth.cord or truth.has("lamp-dead")),
        ("legs-struck", leg_gap(truth) <= LEG_UP_MM),
        ("chocks-struck", truth.chocks),
        ("no-air", truth.tank < 60.0),  # NAVFAC MO-403 par. 7.2: 60 psi before moving
        ("slider-ran", truth.fit.slider and not truth.slider_locked),
        ("crank-swung", "crank-stowed" not in truth.done),
    ]
    for kind, so in wrongs:
        truth = truth.harmed(kind, act) if so else truth
    return truth.did("gone")
