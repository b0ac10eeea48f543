"""What follows from a moment of the rig: heights, contact, what is coupled, what holds. Pure."""

from __future__ import annotations

from assistant.practice.truth import (
    ASIDE_MM,
    CROOKED_DEG,
    EMERGENCY_OFF_PSI,
    FRAME_MM,
    HEAD_GRIP_MM,
    LEG_CONTACT_MM,
    LEG_UP_MM,
    LOWERED_MM,
    NOSE_MM,
    PIN_MM,
    PLATE_MM,
    RIGHT_BELOW_MM,
    SPRING_ON_PSI,
    TOO_LOW_MM,
    Jaw,
    Lines,
    Place,
    Truth,
)

SEATED_MM = 5.0  # the pin counts as seated this near the middle of the jaws
HEAD_STAND_MM = 30.0  # the gap that jaws round the pin's head leave between the plates, from memory
SLOT_MM = 400.0  # the pin stands in the slot this far behind the jaws, from memory


def plate(truth: Truth) -> float:
    """Return the height of the fifth wheel's top above the ground, mm."""
    down = LOWERED_MM if truth.lowered and truth.fit.air_suspension else 0.0
    return truth.fit.ride_mm - down - truth.hollow


def on_legs(truth: Truth) -> float:
    """Return the height the trailer's plate has, or would have, on its legs alone, mm."""
    return truth.leg_mm - truth.sunk


def under(truth: Truth) -> bool:
    """Whether the fifth wheel's plate stands under the trailer at all."""
    return truth.reach < NOSE_MM + PLATE_MM


def frame_under(truth: Truth) -> bool:
    """Whether some of the tractor's frame stands under the trailer."""
    return truth.reach < NOSE_MM + FRAME_MM


def trailer(truth: Truth) -> float:
    """Return the height of the trailer's plate, mm: on its legs, or on the fifth wheel where that is higher."""
    if not under(truth):
        return on_legs(truth)
    # With the jaws round its head the pin stands on them, and the trailer with it.
    stands = HEAD_STAND_MM if truth.jaw is Jaw.ON_HEAD else 0.0
    return max(on_legs(truth), plate(truth) + stands)


def plate_gap(truth: Truth) -> float:
    """Return the gap between the plates, mm; 0 where they touch."""
    return max(0.0, trailer(truth) - plate(truth))


def touching(truth: Truth) -> bool:
    """Whether the fifth wheel carries, or at least touches, the trailer."""
    return under(truth) and plate_gap(truth) <= HEAD_GRIP_MM


def leg_gap(truth: Truth) -> float:
    """Return how far the legs hang above the ground, mm."""
    return trailer(truth) - on_legs(truth)


def legs(truth: Truth) -> str:
    """Return how the legs stand, in the words of the fact ``legs``."""
    gap = leg_gap(truth)
    if gap <= LEG_CONTACT_MM:
        return "down"
    return "just off" if gap <= LEG_UP_MM else "up"


def height(truth: Truth) -> str:
    """Return how the trailer's height suits the plate at ride height, in the words of the fact ``height``."""
    if touching(truth):
        return "right"
    below = truth.fit.ride_mm - trailer(truth)
    if below > TOO_LOW_MM:
        return "too low"
    return "right" if below >= RIGHT_BELOW_MM - 25.0 else "too high"


def pin_over(truth: Truth) -> bool:
    """Whether the pin's lower end stands above the plate, so that it would ride over the jaws."""
    return trailer(truth) - PIN_MM > plate(truth)


def crooked(truth: Truth) -> bool:
    """Whether the tractor stands at an angle that the mirrors show."""
    return truth.angle > CROOKED_DEG


def out_of_line(truth: Truth) -> bool:
    """Whether the pin would pass beside the throat."""
    return truth.aside > ASIDE_MM


def pin(truth: Truth) -> str:
    """Return where the pin is, in the words of the fact ``pin``."""
    if coupled(truth):
        return "in jaw"
    if not frame_under(truth):
        return "clear"
    in_slot = truth.fit.pin_in_slot and not truth.fit.dolly
    part_way = SEATED_MM < truth.reach <= SLOT_MM if in_slot else not under(truth)
    if part_way and "parting" in truth.done:
        return "part way"
    if pin_over(truth) and truth.reach < NOSE_MM:
        return "over throat"
    return "out of line" if out_of_line(truth) else "in line"


def coupled(truth: Truth) -> bool:
    """Whether the jaws have hold of the pin, at its shank or at its head."""
    return truth.jaw in {Jaw.ON_SHANK, Jaw.ON_HEAD}


def charging(truth: Truth) -> bool:
    """Whether the tractor's air reaches the trailer's tank."""
    return truth.lines is Lines.RIGHT and truth.knob_in


def trailer_braked(truth: Truth) -> bool:
    """Whether the trailer's own brakes hold its wheels.

    Spring brakes are on without supply; an old trailer has only what its own tank still holds, and
    that leaks away. Crossed lines leave spring brakes on and an old trailer free (US model commercial
    driver licence manual 6.2).
    """
    if truth.has("trailer-brake-weak"):
        return False
    supply = truth.tank if charging(truth) else 0.0
    if not truth.fit.spring_brakes:
        return supply < SPRING_ON_PSI and truth.trailer_tank > EMERGENCY_OFF_PSI
    if truth.fit.valve_at_trailer and truth.valve_set:
        return True
    return supply < SPRING_ON_PSI


def trailer_held(truth: Truth) -> bool:
    """Whether the trailer stays where it is by its own brakes or by chocks."""
    return trailer_braked(truth) or truth.chocks


def tractor_held(truth: Truth) -> bool:
    """Whether the tractor stays: by its brake, by its springs without air, or by a foot on the pedal."""
    braked = (truth.tractor_brake or truth.tank < SPRING_ON_PSI) and not truth.has("park-brake-weak")
    return braked or truth.place is Place.CAB


def held(truth: Truth) -> tuple[bool, bool]:
    """Return whether the tractor and whether the trailer stay; coupled, either holds both."""
    tractor, behind = tractor_held(truth), trailer_held(truth)
    if coupled(truth) or (truth.hooked and under(truth)):
        return tractor or behind, tractor or behind
    return tractor, behind
