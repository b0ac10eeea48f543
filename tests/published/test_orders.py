"""The order of acts at each site against the handbook that the site names.

Each list is the handbook's own order in our words: (step of the handbook, what the run must come to).
An entry is an answer, or "act:" and an act. Each must come after the one before it, in the run of a
driver for whom everything is as it should be.
"""

from __future__ import annotations

import pytest

from assistant.engine.events import Heard, Measured
from assistant.engine.guide import good_run
from assistant.engine.state import Phase
from assistant.procedure.plan import Plan

from .conftest import engine_of, plans_of

CDL_6_4_1 = [
    ("1 look over the fifth wheel", "mounting-sound"),
    ("3 line up straight", "act:line-up"),
    ("4 back until close", "stopped-short"),
    ("5 secure the tractor", "parking-brake-set"),
    ("5 neutral", "in-neutral"),
    ("6 height", "height-right"),
    ("7 connect the air lines", "act:connect-lines"),
    ("8 supply air", "act:charge-trailer"),
    ("8 normal pressure", "reading"),
    ("8 lines not crossed", "brakes-answer"),
    ("8 engine off to listen", "no-leak"),
    ("9 lock the trailer brakes, immediately before backing under", "trailer-brake-on"),
    ("10 back under", "act:back-under"),
    ("10 stop when the kingpin locks", "act:back-in"),
    ("11 legs slightly off the ground", "act:ease-legs"),
    ("11 pull against locked trailer brakes", "act:tug"),
    ("12 parking brake", "parking-brake-set"),
    ("12 engine off, key", "engine-off"),
    ("13 no gap", "no-gap"),
    ("13 jaws round the shank", "jaw-closed"),
    ("14 electric cord", "cord-connected"),
    ("15 legs fully up", "act:raise-legs"),
    ("15 stow the crank", "crank-stowed"),
    ("16 remove the chocks", "act:remove-chocks"),
]
SGI = [
    ("jaws open", "jaws-open"),
    ("back up to the trailer", "act:line-up"),
    ("parking brake", "parking-brake-set"),
    ("height", "height-right"),
    ("nobody in or behind the trailer", "people"),
    ("back under", "act:back-under"),
    ("pull test", "act:tug"),
    ("parking brake", "parking-brake-set"),
    ("look at the jaws", "jaw-closed"),
    ("hoses", "act:connect-lines"),
    ("cord", "cord-connected"),
    ("legs up", "act:raise-legs"),
    ("handle stowed", "crank-stowed"),
    ("chocks out", "act:remove-chocks"),
]
IRTE = [
    ("reverse to the ramps, level", "stopped-short"),
    ("tractor brake", "parking-brake-set"),
    ("engine off, keys out", "engine-off"),
    ("height", "height-right"),
    ("reverse until the jaws engage", "act:back-in"),
    ("prove by pulling", "act:tug"),
    ("tractor brake", "parking-brake-set"),
    ("engine off, keys out", "engine-off"),
    ("prove the jaws", "jaw-closed"),
    ("lines", "act:connect-lines"),
    ("legs", "act:raise-legs"),
    ("release the trailer brake last (from memory)", "act:release-trailer-brakes"),
]
CDL_6_4_2 = [
    ("1 surface can carry the trailer", "ground-firm"),
    ("1 tractor in line", "lined-up"),
    ("2 lock the trailer brakes", "trailer-brake-on"),
    ("2 ease the load off the jaws", "act:ease-back"),
    ("2 parking brake", "parking-brake-set"),
    ("3 chock the trailer", "chocks-placed"),
    ("4 lower the legs", "act:lower-legs"),
    ("5 disconnect the air lines", "lines-off"),
    ("5 disconnect the cord", "cord-off"),
    ("6 release", "act:pull-release"),
    ("7 pull forward, frame still under", "act:pull-forward"),
    ("8 parking brake", "parking-brake-set"),
    ("8 neutral", "in-neutral"),
    ("9 inspect the supports", "act:look-at-supports"),
    ("10 drive clear", "act:pull-clear"),
]
MO_403 = [
    ("1 tractor brake", "parking-brake-set"),
    ("2 hoses off", "lines-off"),
    ("3 electric off", "cord-off"),
    ("4 chock", "chocks-placed"),
    ("5 legs on firm ground", "act:lower-legs"),
    ("6 release", "act:pull-release"),
    ("6 forward a little, pin still in the slot", "pin-in-slot"),
    ("7 recheck the legs", "act:look-at-supports"),
    ("8 leave", "act:pull-clear"),
]


def happens(plan: Plan) -> list[str]:
    """Return what a faultless run comes to: acts as they are asked for, answers as they are given."""
    out: list[str] = []
    for state, reply in good_run(engine_of(plan)):
        if state.phase is not Phase.ASKING:
            continue
        step = plan.steps[state.step]
        if step.act is not None:
            out.append(f"act:{step.act}")
        match reply.event:
            case Heard(phrase):
                out.append("people" if phrase == "nobody-near" else phrase)
            case Measured():
                out.append("reading")
    return out


def in_order(plan: Plan, order: list[tuple[str, str]]) -> None:
    """Fail unless each entry comes after the one before it."""
    rest = happens(plan)
    for number, (handbook, wanted) in enumerate(order):
        before = order[number - 1][0] if number else "the start"
        assert wanted in rest, f"{plan.site}, {plan.rig}: {handbook!r} does not come after {before!r}"
        rest = rest[rest.index(wanted) + 1 :]


@pytest.mark.parametrize(
    ("procedure", "site", "order"),
    [
        pytest.param("couple", "us-handbook", CDL_6_4_1, id="coupling, US model CDL manual 6.4.1 steps 1 to 16"),
        pytest.param("couple", "lines-after", SGI, id="coupling, SGI Professional Driver's Handbook"),
        pytest.param("couple", "uk-standard", IRTE, id="coupling, IRTE code of practice (2007)"),
        pytest.param("uncouple", "us-handbook", CDL_6_4_2, id="uncoupling, US model CDL manual 6.4.2 steps 1 to 10"),
        pytest.param("uncouple", "depot-lines-first", MO_403, id="uncoupling, NAVFAC MO-403 par. 7.3"),
    ],
)
def test_acts_come_in_the_order_of_the_handbook(procedure: str, site: str, order: list[tuple[str, str]]) -> None:
    """A driver trained on that handbook meets the acts in the order that was drilled, on every rig and crew."""
    mine = [plan for plan in plans_of(procedure) if plan.site == site]
    assert mine
    for plan in mine:
        in_order(plan, order)


def test_trailer_brakes_are_locked_immediately_before_backing_under() -> None:
    """CDL manual 6.4.1 step 9: nothing but looking round for people comes between the lock and the backing."""
    looks = {"people", "mate-in-sight"}
    for plan in plans_of("couple"):
        if plan.site != "us-handbook":
            continue
        run = happens(plan)
        between = run[: run.index("act:back-under")]
        after_lock = between[len(between) - between[::-1].index("trailer-brake-on") :]
        assert set(after_lock) <= looks, after_lock


def test_every_order_has_the_trailer_held_from_the_first_touch_to_the_last_proof() -> None:
    """What all handbooks share holds at each site: chocks and trailer brake before any move toward the trailer."""
    for plan in plans_of("couple"):
        run = happens(plan)
        for needed in ("trailer-brake-on", "chocks-placed"):
            assert run.index(needed) < run.index("act:line-up"), (plan.site, needed)
        assert run.index("jaw-closed") < run.index("act:raise-legs") < run.index("act:remove-chocks")
