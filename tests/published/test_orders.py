"""The order of acts and looks of each procedure at each site, against the published lists.

Each row names steps that must be asked in this order; steps of our own may stand between them.
"""

from __future__ import annotations

from itertools import islice

import pytest
from ways import Setting, settings

from assistant.engine.engine import Engine
from assistant.engine.guide import good_run

US, CA, UK, DEPOT = "us-handbook", "lines-after", "uk-standard", "depot-lines-first"

ORDERS = [
    # procedure, site, rig, source, steps in order
    ("couple", US, "slider-air", "CDL manual 6.4.1 steps 1 to 16",
     "mounting kingpin line-up stop-short brake-short neutral-short height lines charge pressure crossed "
     "lock-trailer back-under back-in legs-just-off tug brake-sights neutral-sights key-sights see-release see-gap "
     "see-jaw cord legs-up crank clearance chocks-away"),
    ("couple", US, "fixed-spring", "US Navy training course 14081, coupling: lines before going under",
     "lines charge lock-trailer back-under back-in"),
    ("couple", CA, "slider-air", "SGI Professional Driver's Handbook, Coupling a tractor and trailer",
     "lock-open stop-short brake-short height people-under back-under back-in tug brake-sights see-jaw lines cord "
     "legs-up crank chocks-away"),
    ("couple", UK, "slider-air", "IRTE/SOE code of practice (2007): standard semi-trailer order",
     "stop-short brake-short key-short height back-in brake-in tug key-sights see-jaw lines legs-up release-last"),
    ("uncouple", US, "slider-air", "CDL manual 6.4.2 steps 1 to 10",
     "ground straight lock-trailer ease brake-ease chocks legs-loaded lines-off cord-off stowed second-lock release "
     "pull brake-part neutral-part supports people-clear pull-clear"),
    ("uncouple", US, "cab-release", "CDL manual 6.4.2 steps 4 to 9; 49 CFR 393.70(b)(2)",
     "legs-loaded lines-off release-air pull brake-part supports pull-clear"),
    ("uncouple", DEPOT, "fixed-spring", "NAVFAC MO-403 par. 7.3",
     "brake-ease lines-off cord-off chocks legs-loaded release pull-slot supports pull-clear"),
    ("road-ready", US, "slider-air", "CDL manual section 5: leak tests, warning, valves; 6.4.1 steps 11 to 16",
     "chocks build-up-psi cut-out static applied cut-in low-air protection-pop spring-pop pressure brakes-answer tug "
     "see-release see-gap see-jaw see-legs chocks-away let-go go"),
    ("road-ready", CA, "slider-air", "Ontario air brake handbook 10-3 and 10-7; truck handbook 6-1-3, 6-1-4",
     "charge build-up-kpa applied low-air lock-trailer tug"),
    ("road-ready", US, "doubles-dolly", "CDL manual 7.2: emergency, then service shut-off at the very rear",
     "pintle chains rear-emergency hand-on rear-service rear-shut tug"),
    ("wear-check", CA, "slider-air", "Ontario truck handbook test 6-1-10: pull forward, chalk, push back, read",
     "trailer-brake tug chalk push halves-play"),
    ("doubles", US, "doubles-dolly", "CDL manual 7.2: coupling a dolly and rear trailer",
     "heavier chocks rear-charge rear-line-off dolly-brakes-off dolly-in-line pintle dolly-support "
     "trailer-brake-under height back-under back-in legs-just-off tug see-jaw chains lines cord petcock rear-shut "
     "front-open legs-up charge rear-emergency rear-service rear-shut-again chocks-away"),
    ("doubles-apart", US, "doubles-dolly", "CDL manual 7.2: uncoupling the rear trailer, then the dolly",
     "ground straight trailer-brake chocks legs shut-offs lines-off dolly-brakes-off release pull supports pull-clear "
     "dolly-leg-down chains-off dolly-held pintle-open draw-out"),
]  # fmt: skip


def asked(one: Setting, way: str = "") -> list[str]:
    """The steps that a faultless run asks, in order, each once; ``way`` is a first answer to take instead."""
    engine = Engine(one.plan)
    out: list[str] = []
    if not way:
        for state, _ in islice(good_run(engine), 400):
            out.append(one.plan.steps[state.step].id)
    else:
        at = one.plan.position("how-stands")
        before = {step.id for step in one.plan.steps[: at + 1]}
        out += [step.id for step in one.plan.steps if step.id in before]
        position = one.plan.steps[at].answers[way].next
        while position >= 0:
            step = one.plan.steps[position]
            out.append(step.id)
            answer = next(iter(step.answers.values())) if step.answers else None
            position = answer.next if answer is not None else (step.reading.within.next if step.reading else -1)
    return list(dict.fromkeys(out))


@pytest.mark.parametrize(("procedure", "site", "rig", "source", "order"), ORDERS)
def test_the_order_is_that_of_the_source(procedure: str, site: str, rig: str, source: str, order: str) -> None:
    """Promise: a driver trained by that book is led in the order of that book."""
    one = next(
        one for one in settings(procedure) if (one.site, one.rig, one.crew) == (site, rig, "alone")
    )
    run = asked(one, "coupled-up" if procedure == "wear-check" else "")
    wanted = order.split()
    assert set(wanted) <= set(run), (source, set(wanted) - set(run))
    assert [step for step in run if step in wanted] == wanted, source


@pytest.mark.parametrize("site", [US, CA, UK, DEPOT])
def test_the_part_way_stop_comes_before_pulling_clear_everywhere(site: str) -> None:
    """Hazard: CDL manual 6.4.2 steps 7 to 10, NAVFAC MO-403 par. 7.3: in one move nothing catches the trailer."""
    for procedure in ("uncouple", "recover", "doubles-apart"):
        for one in (one for one in settings(procedure) if one.site == site):
            run = asked(one)
            pull = next(step for step in run if step in {"pull", "pull-slot"})
            assert (pull == "pull-slot") == (site == DEPOT and procedure != "doubles-apart"), str(one)
            order = [pull, "brake-part", "neutral-part", "supports", "pull-clear"]
            assert [step for step in run if step in order] == order, str(one)
