"""What must always be told, looked at again or confirmed, each against the published text that asks for it."""

from __future__ import annotations

from decimal import Decimal

from assistant.engine.events import Begin, Measured, Resumed
from assistant.engine.guide import good_run
from assistant.engine.state import Kind, Line, Phase, State
from assistant.procedure.model import UNKNOWN

from .conftest import engine_of, one_plan_each, plans, plans_of
from .never import asks, says_before


def test_n26_the_hand_valve_is_told_to_be_for_tests_only() -> None:
    """CDL manual 6.2: never park on the trailer hand valve."""
    for name in ("couple", "road-ready"):
        for plan in plans_of(name):
            told = [step for step in plan.steps if step.hazard == "hand-valve"]
            assert told, (name, plan.site)
            assert all(says_before(plan, step, "hand-valve") for step in told)


def test_n27_three_points_of_contact_are_told_before_the_deck_is_climbed() -> None:
    """49 CFR 399.207: lines and cord are joined from the deck plate behind the cab."""
    for name in ("couple", "uncouple", "road-ready"):
        for plan in plans_of(name):
            told = [step for step in plan.steps if step.hazard == "three-points"]
            assert told, (name, plan.site)
            assert all(says_before(plan, step, "three-points") for step in told)
    for plan, step in asks("connect-lines"):
        if plan.procedure == "couple":  # between trailers the lines are joined from the ground
            assert step.hazard == "three-points", step.id


def test_n28_nobody_is_told_to_run_after_a_rig() -> None:
    """HSE driver leaflet: people are killed running to the cab of a moving rig."""
    for plan, step in asks("release-trailer-brakes"):
        assert says_before(plan, step, "running-after"), (plan.procedure, step.id)


DECAYS = {
    "tractor-brake", "trailer-brake", "chocks", "air", "engine", "people", "pin", "release", "gap", "jaw", "supports",
    "dolly",
}  # fmt: skip
"""What may have changed while nobody listened: whatever rolls, sinks, leaks off, walks in or springs open."""


def test_n29_an_interruption_makes_the_place_doubtful() -> None:
    """Transport Canada multi-crew SOP 1.9: if interrupted, verify again; if the place is lost, restart.

    Air too: it may leak off meanwhile (CDL manual 6.4.2 step 3).
    """
    for plan in plans():
        engine = engine_of(plan)
        for state, _ in good_run(engine):
            if state.phase is not Phase.ASKING:
                continue
            after = engine.decide(state, Resumed(changed=False), state.since + 1).state
            for index, name in enumerate(plan.fact_names):
                if name in DECAYS:
                    assert after.facts[index] == UNKNOWN, (plan.procedure, plan.steps[state.step].id, name)


def test_n29_brakes_and_engine_are_made_safe_before_anybody_looks() -> None:
    """CDL manual 6.4.1 steps 5 and 12: brakes set and engine off before anyone gets out, also after a pause.

    Air that has leaked is charged first, for only the running engine can (common practice, no source).
    """
    charged = 0
    for plan in one_plan_each():
        secure = {plan.fact_names[index]: value for index, value in plan.secure.items()}
        assert {name: value for name, value in secure.items() if name != "air"} == {"tractor-brake": "on", "engine": "off"}
        if "air" in secure:
            charged += 1
            assert secure["air"] == "charged"
            assert list(secure).index("air") < list(secure).index("engine")
    assert charged


def test_n30_the_driver_is_told_to_use_it_parked() -> None:
    """NHTSA 78 FR 24817; 49 CFR 392.80 and 392.82: no screen or talk with a device in traffic."""
    for plan in plans():
        engine = engine_of(plan)
        assert engine.decide(engine.initial(), Begin(), 0).lines[0] == Line("line", "caution")
    for plan, step in asks("drive-off"):
        assert says_before(plan, step, "screens-moving"), plan.procedure


def test_n31_a_number_counts_only_with_unit_and_read_back() -> None:
    """FAA AIM 4-2-8; ICAO Annex 10: a bare or unconfirmed number proves nothing."""
    tried = 0
    for plan in plans():
        engine = engine_of(plan)
        for number, step in enumerate(plan.steps):
            if step.reading is None:
                continue
            tried += 1
            state = State(Phase.ASKING, number, plan.blank, held=True)
            middle = sum(step.reading.limit.plausible) / Decimal(2)
            bare = engine.decide(state, Measured(middle, None), 0)
            assert (bare.kind, bare.reason, bare.state.step) == (Kind.ASKED_AGAIN, "no-unit", number)
            said = engine.decide(state, Measured(middle, step.reading.limit.unit), 0)
            assert (said.kind, said.state.phase, said.state.facts) == (Kind.READ_BACK, Phase.CONFIRMING, plan.blank)
    assert tried
