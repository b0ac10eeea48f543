"""Which things must be looked at to give an answer by sight. Pure.

A phrase that is in no list reports what the driver has done; having done it is having seen it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

_BY_THING: Final[Mapping[str, tuple[str, ...]]] = {
    "tractor": ("tractor-clear", "tractor-under", "coupled-up", "frame-under", "pin-in-slot", "pin-clear"),
    "tractor-brake": ("parking-brake-off",),
    "people": ("nobody-near", "somebody-near", "only-my-mate"),
    "mate": ("mate-in-sight", "mate-out-of-sight"),
    "ground": ("ground-firm", "ground-soft", "no-boards"),
    "load": ("load-secure", "load-loose", "carrying-load", "running-empty"),
    "trailer-brake": ("trailer-brake-on", "trailer-brake-off", "valve-faulty", "wheels-still-free"),
    "chocks": ("chocks-tight", "chocks-not-tight"),
    "mounting": ("mounting-sound", "mounting-faulty"),
    "plate": ("plate-greased", "plate-bare", "liner-sound", "liner-worn"),
    "slider": ("slider-locked", "slider-loose", "both-pins-drawn", "pins-stay-put", "slider-lever-broken"),
    "slider-place": ("slider-in-place", "slider-wrong-place"),
    "rails": ("rails-clear", "rails-fouled"),
    "slider-ends": ("slider-ends-sound", "slider-end-missing"),
    "tilt": ("plate-tilts", "plate-stuck"),
    "throat": ("throat-clean", "throat-fouled"),
    "jaw": ("jaws-open", "jaws-shut", "jaw-closed", "jaw-open", "jaw-on-head"),
    "release": ("release-home", "release-out", "release-stuck", "handle-broken", "nothing-bent"),
    "second-lock": ("second-lock-set",),
    "gap": ("no-gap", "gap-seen"),
    "pin": ("pin-in-line", "pin-over-throat", "pin-out-of-line", "pin-in-jaw", "pin-short", "pin-in-slot-low"),
    "pin-lock": ("pin-lock-off", "pin-lock-stuck"),
    "kingpin": ("kingpin-sound", "kingpin-worn"),
    "trailer-plate": ("trailer-plate-sound", "trailer-plate-damaged"),
    "line-up": ("lined-up", "crooked"),
    "suspension": ("suspension-down", "suspension-up"),
    "height": ("height-right", "trailer-too-low", "trailer-too-high"),
    "plates": ("plate-touching", "plate-gap"),
    "legs": ("legs-down", "legs-just-off", "legs-up", "legs-jammed", "legs-carrying"),
    "supports": ("legs-holding", "legs-sinking", "legs-are-straight", "legs-bent"),
    "lines": ("seal-damaged", "lines-still-on"),
    "hang": ("lines-hang-clear", "lines-rub"),
    "cord": ("cord-connected", "cord-damaged"),
    "hiss": ("no-leak", "leak-heard"),
    "brakes": ("brakes-answer", "brakes-stay-locked", "brakes-drag", "brakes-are-free"),
    "lamps": ("lamps-burn", "lamp-dead", "brake-lamps-burn"),
    "clearance": ("clearance-good", "clearance-tight"),
    "damage": ("nothing-damaged", "bent-or-cracked"),
    "top-plate": ("top-plate-whole",),
    "lock-parts": ("lock-parts-whole", "lock-parts-broken"),
    "pivots": ("pivot-pins-secured", "pivot-pin-working-out"),
    "weight": ("heavier-first", "heavier-last"),
    "pintle": ("pintle-latched", "pintle-open", "hook-will-not-open"),
    "chains": ("chains-hooked", "chain-trailing"),
    "dolly": ("dolly-out", "dolly-under", "dolly-part-way"),
    "dolly-hold": ("dolly-held", "dolly-moves"),
    "rear-air": ("air-rushes-out", "no-rush-of-air"),
    "shut-offs": ("front-valves-open", "front-valves-shut"),
}

THING: Final[Mapping[str, str]] = {phrase: thing for thing, phrases in _BY_THING.items() for phrase in phrases}
"""Phrase → the thing that must be looked at before it can be said."""
