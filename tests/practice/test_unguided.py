"""With the assistant switched off, what is done in the wrong order breaks something, and the reason is told."""

from __future__ import annotations

import pytest

from assistant.practice import acts, deeds
from assistant.practice.passing import pass_time
from assistant.practice.starts import start
from assistant.practice.truth import Fit, Jaw, Place, Truth
from assistant.practice.words import yard_words

SLOPE = Fit(slope=0.035)
READY = ("trailer-brake-on", "chocks-placed", "second-lock-released", "jaws-open")

WRONG = [
    # what is wrong, the rig, deeds and acts in order, what breaks, published ground
    ("nothing holds the trailer", ("couple", Fit(spring_brakes=False), {"trailer_tank": 0.0}),
     ["line-up", "line-up", "back-under"], "pushed-away", "CDL manual 6.4.1 steps 2 and 9; RR1069"),
    ("somebody is behind", ("couple", Fit(), {"people_near": True}), ["line-up"], "crushed", "SGI handbook, coupling"),
    ("the mate is not seen", ("couple", Fit(mate=True), {"mate_seen": False}), ["line-up"], "mate-crushed", "TM 9-2330-381-14"),
    ("the trailer stands too low", ("couple", Fit(air_suspension=False), {"leg_mm": 1080.0}),
     [*READY, "line-up", "line-up", "back-under"], "nose-strike", "CDL manual 6.4.1 step 6"),
    ("the tractor comes at an angle", ("couple", Fit(), {"reach": 2000.0, "angle": 9.0}),
     [*READY, "lower-suspension", "back-under"], "legs-bent", "CDL manual 6.4.1 step 3"),
    ("the pin is high", ("couple", Fit(), {"leg_mm": 1310.0}),
     [*READY, "line-up", "line-up", "back-under", "back-in"], "pin-rode-over", "IRTE code of practice"),
    ("raised under a high pin", ("couple", Fit(), {"leg_mm": 1225.0}),
     [*READY, "line-up", "line-up", "lower-suspension", "back-under", "raise-suspension"], "lifted-on-pin", "IRTE code of practice"),
    ("the jaws are shut", ("couple", Fit(), {}),
     ["trailer-brake-on", "chocks-placed", "line-up", "line-up", "lower-suspension", "back-under", "raise-suspension", "back-in"],
     "jaws-struck", "CDL manual 6.4.1 step 1"),
    ("lines left on", ("uncouple", Fit(), {}), ["trailer-brake-on", "chocks-placed", "lower-legs", "second-lock-released", "ease-back",
     "pull-release", "pull-forward"], "lines-torn", "CDL manual 6.4.2 steps 5 and 7"),
    ("legs left up", ("uncouple", Fit(), {}), ["trailer-brake-on", "chocks-placed", "lines-off", "cord-off", "second-lock-released",
     "ease-back", "pull-release", "pull-forward"], "dropped", "CDL manual 6.4.2 steps 4 and 7"),
    ("lifted with the jaws shut", ("uncouple", Fit(), {}), ["lift-with-legs"], "lifted-in-jaws", "CDL manual 6.4.2 step 4"),
    ("driven with the jaws on the head", ("road-ready", Fit(), {"jaw": Jaw.ON_HEAD}), ["drive-off"], "trailer-lost", "CDL manual 6.4.1 step 13"),
    ("driven with the release out", ("road-ready", Fit(), {"handle_in": False}), ["drive-off"], "trailer-lost", "49 CFR 393.70(b)(2)"),
    ("driven with the legs low", ("road-ready", Fit(), {"leg_mm": 1180.0}), ["drive-off"], "legs-struck", "CDL manual 6.4.1 step 15"),
    ("driven over the chocks", ("road-ready", Fit(), {"chocks": True}), ["drive-off"], "chocks-struck", "CDL manual 6.4.1 step 16"),
    ("driven without air", ("road-ready", Fit(), {"tank": 50.0}), ["drive-off"], "no-air", "NAVFAC MO-403 par. 7.2"),
    ("slider free, trailer not held", ("slide-fifth-wheel", Fit(), {}), ["unlock-slider"], "slider-ran", "common practice, no source"),
    ("hook opened under load", ("doubles-apart", Fit(dolly=True, second_lock=False), {}), ["open-pintle"], "tow-bar-flew-up", "CDL manual 7.2"),
    ("cab left in gear", ("couple", Fit(), {}), ["leave-cab"], "ran-off", "CDL manual 6.4.1 steps 5 and 12"),
    ("under a running rig", ("couple", Fit(), {}), ["go-under"], "crushed-under", "Nebraska FACE 95NE009"),
]  # fmt: skip


def _do(truth: Truth, what: str) -> Truth:
    return acts.act(truth, what) if what in acts.ACTS else deeds.deed(truth, what)


@pytest.mark.parametrize(("why", "rig", "order", "breaks", "source"), WRONG, ids=[row[0] for row in WRONG])
def test_a_wrong_order_breaks_what_the_published_warning_says(
    why: str, rig: tuple[str, Fit, dict[str, object]], order: list[str], breaks: str, source: str
) -> None:
    """A trainer can show why each order matters: done wrongly, the simulation breaks, and says why."""
    procedure, fit, changes = rig
    truth = start(procedure, fit).but(**changes)
    for what in order:
        assert breaks not in [harm.kind for harm in truth.harms], f"{what} comes too late to show it"
        truth = _do(truth, what)
    assert breaks in [harm.kind for harm in truth.harms], (why, source)
    assert len(yard_words("en").damage(next(harm for harm in truth.harms if harm.kind == breaks)).split()) > 4


def test_the_handbooks_order_breaks_nothing() -> None:
    """The same acts in the published order (CDL manual 6.4.1) leave everything whole and coupled."""
    truth = start("couple", Fit())
    for what in (*READY, "line-up", "line-up", "parking-brake-set", "in-neutral", "lower-suspension", "engine-off", "leave-cab",
                 "connect-lines", "charge-trailer", "trailer-brake-on", "back-under", "raise-suspension", "back-in", "parking-brake-set",
                 "in-neutral", "ease-legs", "tug", "parking-brake-set", "in-neutral", "engine-off", "go-under", "second-lock-set",
                 "cord-connected", "raise-legs", "crank-stowed", "lines-hang-clear", "remove-chocks", "release-trailer-brakes",
                 "drive-off"):  # fmt: skip
        truth = _do(truth, what)
    assert truth.harms == ()
    assert truth.jaw is Jaw.ON_SHANK
    assert "gone" in truth.done


def test_on_a_slope_an_unheld_trailer_runs_away_by_itself() -> None:
    """Runaways with neither brake applied (HSE research report RR1069): the release of both is enough."""
    parked = start("couple", SLOPE).but(place=Place.GROUND, gear=False, tractor_brake=True, trailer_tank=0.0)
    held = parked.but(knob_in=False, valve_set=True)
    assert pass_time(held, 60_000).harms == ()
    old = held.but(fit=Fit(slope=0.035, spring_brakes=False))
    assert [harm.kind for harm in pass_time(old, 60_000).harms] == ["runaway-outside"]
    assert pass_time(old.but(chocks=True), 60_000).harms == ()
