"""How the rig stands when each procedure begins, from the plan's rig and site. Pure."""

from __future__ import annotations

from assistant.practice.readings import GOOD_WEAR
from assistant.practice.truth import LEG_TRAVEL_MM, Fit, Jaw, Lines, Truth
from assistant.procedure.load import Files

FAILED_REACH = 80.0
"""Where a coupling that failed left the pin: short of the jaws, mm."""

BY_DOLLY = frozenset({"doubles", "doubles-apart"})
COUPLED = frozenset({"uncouple", "road-ready", "slide-fifth-wheel", "wear-check", "doubles-apart"})


def fit_of(files: Files, crew: str) -> Fit:
    """Return the unfaulted rig that a run's files describe."""
    features, choices = files.rig.features, files.site.choices
    return Fit(
        air_suspension=features["suspension"] == "air",
        cab_release=features["release"] == "cab air",
        second_lock=features["second-lock"] == "fitted",
        slider=features["slider"] == "sliding",
        dolly=files.procedure.id in BY_DOLLY,
        spring_brakes=features["spring-brakes"] == "fitted",
        greased=features["plate"] == "greased",
        valve_at_trailer=choices["trailer-release"] == "at the trailer",
        pin_in_slot=choices["part-way"] == "pin in slot",
        mate=crew == "mate",
        wear=dict(GOOD_WEAR),
    )


def start(procedure: str, fit: Fit) -> Truth:
    """Return the rig as a trainee finds it, before any fault is put in."""
    if procedure in COUPLED:
        return _coupled(procedure, fit)
    if procedure == "recover":
        return _failed(fit)
    apart = Truth(fit, jaw=Jaw.IN_FRONT, handle_in=True, latch=fit.second_lock, leg_mm=fit.ride_mm - 35.0)
    apart = apart.but(trailer_tank=0.0 if fit.spring_brakes else 80.0).did("crank-stowed")
    if not fit.dolly:
        return apart
    # The rear trailer of two has stood for long: an old one has no air left to hold it.
    return apart.but(jaw=Jaw.OPEN, handle_in=False, latch=False, angle=6.0, trailer_tank=0.0, tractor_brake=True)


def _coupled(procedure: str, fit: Fit) -> Truth:
    together = Truth(
        fit, reach=0.0, angle=0.0, jaw=Jaw.ON_SHANK, handle_in=True, latch=fit.second_lock, lines=Lines.RIGHT,
        cord=True, knob_in=True, valve_set=False, trailer_tank=118.0, leg_mm=fit.ride_mm - LEG_TRAVEL_MM,
        jaw_loaded=True, slider_loaded=False, hooked=True,
    )  # fmt: skip
    together = together.did("crank-stowed", "lines-hang", "chains-hooked", "dolly-leg-up", "front-open", "rear-shut")
    return together.did("lined-up-once") if procedure == "uncouple" else together


def _failed(fit: Fit) -> Truth:
    """A coupling that failed: the pin stopped short of the jaws unless a fault says otherwise."""
    short = Truth(
        fit, reach=FAILED_REACH, angle=0.0, jaw=Jaw.OPEN, handle_in=False, lines=Lines.RIGHT, cord=False, knob_in=False,
        trailer_tank=110.0, leg_mm=fit.ride_mm - 35.0, hooked=True,
    )  # fmt: skip
    return short.did("crank-stowed", "lines-hang")
