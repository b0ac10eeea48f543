"""What is so in the classroom yard, whatever anybody believes: one frozen moment of the rig.

Lengths are millimetres, pressures psi, times milliseconds, speeds mm/s. "Reach" is how far the middle
of the jaws stands ahead of the kingpin along the lane: 0 with the pin seated, more while the tractor
still has to back, less when it went past. Nothing here reads a clock or draws a number by chance.

In the procedures for two trailers "the trailer" is the rear one and "the fifth wheel" that of the dolly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Self

NOSE_MM = 900.0  # kingpin to the trailer's nose: 36 in, from memory
PLATE_MM = 450.0  # middle of the jaws to the rear edge of the plate: a plate of about 36 in, from memory
FRAME_MM = 1600.0  # middle of the jaws to the rear end of the frame, common practice, no source
PIN_MM = 84.0  # how far the pin stands down from its plate: 3.324 in, TM 9-2330-335-14&P inspection table
HEAD_GRIP_MM = 6.0  # a gap between the plates above which the jaws close below the shank, from memory
LOWERED_MM = 100.0  # how far the suspension lets the plate down, from memory
RIGHT_BELOW_MM = 35.0  # trailer plate below the fifth wheel: 25 to 50 mm, TM 9-2320-312-10 and TM 9-2330-381-14
TOO_LOW_MM = 70.0  # below that the nose is struck instead of lifted: common practice, no source
LEG_CONTACT_MM = 3.0  # a leg this near the ground stands on it
LEG_UP_MM = 100.0  # a leg higher than this is out of the way: common practice, no source
LEG_TRAVEL_MM = 350.0  # a leg wound fully up, from memory

CROOKED_DEG = 4.0  # an angle that the mirrors show: common practice, no source
ASIDE_MM = 60.0  # a pin this far beside the throat misses it, from memory

SPRING_ON_PSI = 45.0
"""Spring brakes are on by themselves below this: between 20 and 45 psi, US model commercial driver
licence manual section 5; the top of the band, the stricter for a rig that must hold."""
EMERGENCY_OFF_PSI = 20.0
"""Below this a trailer without spring brakes has no emergency brakes left: from memory."""


class Jaw(StrEnum):
    """What the jaws do."""

    OPEN = "open"
    ON_SHANK = "on-shank"
    ON_HEAD = "on-head"
    IN_FRONT = "in-front"  # shut, and the pin not between them


class Lines(StrEnum):
    """How the two air lines are joined."""

    OFF = "off"
    RIGHT = "right"
    CROSSED = "crossed"


class Place(StrEnum):
    """Where the driver is."""

    CAB = "cab"
    GROUND = "ground"
    UNDER = "under"


@dataclass(frozen=True, slots=True)
class Harm:
    """Something that was broken, lost or crushed: ``kind`` names it, ``act`` is what was being done."""

    kind: str
    act: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Fit:
    """What does not change while a run lasts: the rig's parts, the site's ways, the yard's ground, the faults.

    ``faults`` are ids of `faults.FAULTS`. Leaks are psi a minute, ``compressor`` psi a second, ``wear``
    the true value of each wear limit in inches. ``slope`` is the fall of the lane in the direction
    the tractor faces, as a fraction.
    """

    air_suspension: bool = True
    cab_release: bool = False
    second_lock: bool = True
    slider: bool = True
    dolly: bool = False
    spring_brakes: bool = True
    greased: bool = True
    valve_at_trailer: bool = False
    pin_in_slot: bool = False
    mate: bool = False
    loaded: bool = True
    ride_mm: float = 1200.0  # 47 in, from memory
    slope: float = 0.0
    compressor: float = 0.6
    cut_in: float = 100.0
    cut_out: float = 125.0
    warning: float = 65.0
    pop: float = 35.0
    leak: float = 0.6
    leak_charged: float = 0.4
    leak_applied: float = 1.0
    leak_trailer: float = 1.0
    wear: Mapping[str, float] = field(default_factory=dict)
    faults: frozenset[str] = frozenset()

    def __hash__(self) -> int:
        """Hash by what tells two rigs apart; a mapping has none of its own."""
        return hash((self.faults, self.slope, self.air_suspension, self.dolly, self.ride_mm))


@dataclass(frozen=True)
class Truth:
    """One moment. Each field is what is so, not what was seen.

    ``leg_mm`` is the height at which the trailer's plate stands when it rests on its legs alone,
    ``hollow_mm`` how deep the tractor's wheels stand in a hollow, ``marked`` the gauge when a timed
    test began and ``fallen`` how far it had fallen at its end,
    ``done`` odd jobs that are done or not ("crank-stowed", "chains-hooked" …).
    """

    fit: Fit
    time_ms: int = 0
    reach: float = 6000.0
    aside: float = 0.0
    angle: float = 12.0
    lowered: bool = False
    hollow: float = 0.0
    leg_mm: float = 1165.0
    sunk: float = 0.0
    jaw: Jaw = Jaw.OPEN
    handle_in: bool = False
    latch: bool = False
    jaw_loaded: bool = False
    tractor_brake: bool = False
    gear: bool = True
    engine: bool = True
    knob_in: bool = False
    valve_set: bool = True
    chocks: bool = False
    pedal: bool = False
    hand_valve: bool = False
    tank: float = 118.0
    trailer_tank: float = 0.0
    pumping: bool = False
    marked: float = 0.0
    fallen: float = 0.0
    lines: Lines = Lines.OFF
    cord: bool = False
    people_near: bool = False
    mate_seen: bool = True
    slider_locked: bool = True
    slider_loaded: bool = False
    hooked: bool = False
    place: Place = Place.CAB
    tug: str = ""
    speed: float = 0.0
    rolled: float = 0.0
    done: frozenset[str] = frozenset()
    harms: tuple[Harm, ...] = ()

    def but(self, **changes: Any) -> Self:
        """Return the moment with ``changes``; TypeError for a name that is no field."""
        if not changes.keys() <= self.__dict__.keys():
            raise TypeError(f"{sorted(changes.keys() - self.__dict__.keys())[0]} is no part of the rig")
        # As `dataclasses.replace`, which looks every field up by name and was a tenth of a whole run.
        new = object.__new__(type(self))
        new.__dict__.update(self.__dict__)
        new.__dict__.update(changes)
        return new

    def did(self, *jobs: str) -> Self:
        """Return the moment with odd jobs done."""
        return self.but(done=self.done | set(jobs))

    def undid(self, *jobs: str) -> Self:
        """Return the moment with odd jobs undone."""
        return self.but(done=self.done - set(jobs))

    def harmed(self, kind: str, act: str) -> Self:
        """Return the moment with something broken; the same harm of one act counts once."""
        if any(harm.kind == kind and harm.act == act for harm in self.harms):
            return self
        return self.but(harms=(*self.harms, Harm(kind, act, self.time_ms)))

    def has(self, fault: str) -> bool:
        """Whether a fault was put into this rig."""
        return fault in self.fit.faults
