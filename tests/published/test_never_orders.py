"""Orders that must never happen, each against the published text that forbids it.

The tables here are written from those texts and not from the shipped rules: for each act, the facts
that must be seen, and seen safe, before it. The real engine is asked with every shipped plan.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest

from assistant.engine import commands
from assistant.engine.events import Begin, Heard, Measured, Resumed
from assistant.engine.guide import good_run
from assistant.engine.state import Kind, Line, Phase, State
from assistant.phrases.live import Role
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import Plan, PlanStep

from .conftest import announced, engine_of, one_plan_each, plans, plans_of

SAFE = {
    "tractor-brake": "on", "gear": "neutral", "trailer-brake": "on", "chocks": "placed", "engine": "off",
    "people": "clear", "ground": "firm", "lock": "open", "line-up": "straight", "height": "right", "pin": "in line",
    "contact": "touching", "lines": "connected", "lines-order": "right", "air": "charged", "cord": "connected",
    "tug": "held", "release": "home", "gap": "none", "jaw": "closed", "legs": "up", "crank": "stowed",
    "supports": "holding", "air-test": "passed", "lights": "burning", "rear-air": "proven", "slider": "locked",
    "dolly": "out", "pintle": "latched",
}  # fmt: skip
"""A rig on which everything was seen and is as it must be; single acts need other values (``FOR``)."""

FOR = {
    "pull-release": {"legs": "down", "lines": "off", "cord": "off"},
    "pull-forward": {"legs": "down", "lines": "off", "cord": "off"},
    "draw-out": {"legs": "down", "lines": "off", "cord": "off"},
    "pull-clear": {"legs": "down", "lines": "off", "cord": "off", "pin": "part way"},
    "drive-off": {"chocks": "away", "pin": "in jaw"},
    "raise-legs": {"pin": "in jaw"},
    "lift-with-legs": {"pin": "out of line"},
}
MOVES_BACK = ("line-up", "back-under", "back-in", "ease-back")
MOVES = (*MOVES_BACK, "tug", "pull-forward", "draw-out", "pull-clear", "reposition", "slide", "release-tractor-brake")


def refuses(act: str, fact: str, *dangerous: str) -> None:
    """Fail unless every plan refuses ``act`` by a never rule while ``fact`` is dangerous or unknown, and only then."""
    for plan in one_plan_each():
        facts = {**SAFE, **FOR.get(act, {})}
        safe = announced(plan, act, facts)
        assert safe.reason != "never", (plan.procedure, act, safe.rule)
        for value in (*dangerous, UNKNOWN):
            decision = announced(plan, act, {**facts, fact: value})
            assert (decision.kind, decision.reason) == (Kind.REFUSED, "never"), (plan.procedure, act, fact, value)
            assert decision.lines[0] == Line("never", decision.rule)


def asks(act: str) -> Iterator[tuple[Plan, PlanStep]]:
    """Yield every step of every plan that asks for ``act``; there is at least one."""
    found = [(plan, step) for plan in plans() for step in plan.steps if step.act == act]
    assert found, f"no shipped procedure asks for {act}"
    yield from found


def says_before(plan: Plan, step: PlanStep, hazard: str) -> bool:
    """Whether the engine says the hazard first and the step right after it."""
    before = next((n for n, other in enumerate(plan.steps) if other is step))
    lines = engine_of(plan).decide(State(Phase.ASKING, before, plan.blank), Heard(commands.SAY_AGAIN), 0).lines
    return lines[:2] == (Line("hazard", hazard), Line("step", step.id))


@pytest.mark.parametrize("act", ["back-under", "back-in", "line-up"])
def test_n01_backing_under_needs_the_trailer_held(act: str) -> None:
    """CDL manual 6.4.1 steps 2 and 9; HSE RR1069: an unheld trailer is pushed over whoever stands behind it."""
    refuses(act, "trailer-brake", "off")
    if act != "line-up":
        refuses(act, "chocks", "away")


def test_n02_backing_under_needs_height_and_pin_seen() -> None:
    """CDL manual 6.4.1 step 6; IRTE code of practice (2007): a high pin rides over the jaws, a low nose is struck."""
    refuses("back-under", "height", "too low", "too high")
    refuses("back-under", "lock", "shut")
    refuses("back-in", "pin", "clear", "over throat", "out of line")
    refuses("back-in", "contact", "gap")
    refuses("raise-suspension", "pin", "over throat", "out of line")


NEEDED = {
    ("couple", "back-under"): {"lock": "open", "throat": "clean"},
    ("doubles", "back-under"): {"lock": "open", "throat": "clean", "pintle": "latched"},
    ("doubles-apart", "draw-out"): {"pintle": "open"},
}
"""What must have been seen for a step to be asked at all: CDL manual 6.4.1 step 1, and 7.2 on the dolly's pintle."""


@pytest.mark.parametrize(("procedure", "act"), sorted(NEEDED))
def test_n02_backing_under_is_not_asked_before_its_looks(procedure: str, act: str) -> None:
    """CDL manual 6.4.1 step 1 and 7.2: a shut or fouled jaw takes no pin; a dolly on a wrong pintle goes astray."""
    asked = 0
    for plan in plans_of(procedure):
        for step in plan.steps:
            if step.act == act:
                asked += 1
                needs = {plan.fact_names[index]: set(values) for index, values in step.needs}
                for fact, value in NEEDED[procedure, act].items():
                    assert needs.get(fact) == {value}, (step.id, fact)
    assert asked


def test_n03_leaving_the_cab_needs_brake_and_neutral() -> None:
    """CDL manual 6.4.1 steps 5 and 12; Nebraska FACE 95NE009: the tractor rolled onto its driver."""
    refuses("leave-cab", "tractor-brake", "off")
    refuses("leave-cab", "gear", "engaged")


ROLLING = {"tractor-brake": "off", "gear": "engaged", "engine": "running"}
BEGUN = {
    **dict.fromkeys(("line-up", "tug", "ease-back", "reposition"), ROLLING),
    **{
        act: {**ROLLING, "pin": UNKNOWN} for act in ("back-under", "back-in", "pull-forward", "draw-out", "pull-clear")
    },
    "slide": {**ROLLING, "slider": UNKNOWN},
    "raise-suspension": {"suspension": UNKNOWN, "engine": "running"},
    "lower-suspension": {"suspension": UNKNOWN, "engine": "running"},
    "charge-trailer": {"trailer-brake": UNKNOWN, "engine": "running"},
    "release-trailer-brakes": {"trailer-brake": "off"},
    "release-tractor-brake": {"tractor-brake": "off"},
    "ease-legs": {"legs": UNKNOWN},
    "raise-legs": {"legs": UNKNOWN},
    "pull-release": {"release": UNKNOWN},
    "remove-chocks": {"chocks": UNKNOWN},
    "unlock-slider": {"slider": UNKNOWN},
    "open-pintle": {"pintle": UNKNOWN},
}
"""What is no longer so, or no longer known, from the moment an act may have begun."""


@pytest.mark.parametrize("act", sorted(BEGUN))
def test_n03_an_act_that_may_have_begun_is_believed_to_have_begun(act: str) -> None:
    """CDL manual 6.4.1 steps 5 and 12; Tilbury case (HSE, 2015): the rig rolled while its driver thought it held."""
    for plan in one_plan_each():
        begun = {plan.fact_names[index]: value for index, value in plan.acts[act].starts}
        assert begun.items() >= BEGUN[act].items(), plan.procedure


@pytest.mark.parametrize("act", ["tug", "back-under", "pull-forward", "slide", "ease-back"])
def test_n03_nobody_gets_out_or_under_while_the_rig_may_be_moving(act: str) -> None:
    """CDL manual 6.4.1 step 12; Nebraska FACE 95NE009: brakes first, then the door."""
    for plan, step in asks(act):
        facts = tuple(SAFE.get(name, UNKNOWN) for name in plan.fact_names)
        state = State(Phase.ASKING, plan.steps.index(step), facts)
        for way_out in ("leave-cab", "go-under"):
            decision = engine_of(plan).decide(state, Heard(plan.acts[way_out].announce), 0)
            assert decision.reason == "never", (plan.procedure, step.id, way_out)


def test_n04_backing_under_needs_a_straight_line() -> None:
    """CDL manual 6.4.1 step 3: at an angle the trailer is pushed sideways and its legs break."""
    refuses("back-under", "line-up", "crooked")


@pytest.mark.parametrize("act", ["connect-lines", "charge-trailer"])
def test_n05_air_goes_only_to_a_held_rig(act: str) -> None:
    """HSE driver leaflet; HSE RR1069: connecting air to an unheld trailer releases its brakes."""
    refuses(act, "trailer-brake", "off")
    refuses(act, "chocks", "away")
    refuses(act, "tractor-brake", "off")


def test_n06_a_dropped_line_is_told_to_be_no_parking_brake() -> None:
    """HSE driver leaflet; NAVFAC MO-403 par. 7.3: emergency brakes leak off with time."""
    for name in ("couple", "uncouple"):
        for plan in plans_of(name):
            told = [step for step in plan.steps if step.hazard == "dropped-line"]
            assert told, (name, plan.site)
            assert all(says_before(plan, step, "dropped-line") for step in told)
            assert any(("chocks", "placed") in named_sets(plan, step) for step in plan.steps)


def named_sets(plan: Plan, step: PlanStep) -> set[tuple[str, str]]:
    """Return what the answers of a step can set, by name."""
    return {(plan.fact_names[i], value) for answer in step.answers.values() for i, value in answer.sets}


def test_n07_going_under_needs_both_brakes_and_the_engine_off() -> None:
    """CDL manual 6.4.1 steps 12 and 13; Ontario air brake handbook; Nebraska FACE 95NE009."""
    refuses("go-under", "tractor-brake", "off")
    refuses("go-under", "trailer-brake", "off")
    refuses("go-under", "engine", "running")


@pytest.mark.parametrize("act", MOVES)
def test_n08_nothing_moves_with_people_near(act: str) -> None:
    """SGI handbook, coupling; TM 9-2330-331-14&P; FACE narrative of a spotter: people are crushed behind a rig."""
    refuses(act, "people", "near")


def test_n08_a_mate_is_in_sight_before_every_backing() -> None:
    """TM 9-2330-381-14: the driver must know the spotter's place at all times."""
    for plan in plans():
        if plan.crew != "mate":
            continue
        in_sight = False
        for state, reply in good_run(engine_of(plan)):
            step = plan.steps[state.step]
            if state.phase is not Phase.ASKING or not isinstance(reply.event, Heard):
                continue
            if step.act in MOVES_BACK:
                assert in_sight, (plan.procedure, plan.site, step.id)
            if reply.event.phrase == "mate-in-sight":
                in_sight = True
            elif reply.event.phrase == "parking-brake-set":
                in_sight = False  # the tractor stands; before it backs again the mate is looked for again


def test_n09_the_trailer_is_let_go_only_after_tug_and_look() -> None:
    """CDL manual 6.4.1 step 11; SGI handbook, coupling: the pull is made against held trailer brakes."""
    refuses("release-trailer-brakes", "tug", "failed")
    refuses("release-trailer-brakes", "jaw", "open")
    refuses("release-trailer-brakes", "tractor-brake", "off")
    refuses("tug", "trailer-brake", "off")


def test_n09_the_tractor_is_let_go_only_beside_a_held_trailer() -> None:
    """HSE RR1069: runaways with neither brake applied; chocks or the trailer's brake hold the rig."""
    for plan in one_plan_each():
        facts = {**SAFE, "trailer-brake": "off", "chocks": "away"}
        assert announced(plan, "release-tractor-brake", facts).reason == "never"
        assert announced(plan, "release-tractor-brake", {**facts, "chocks": "placed"}).reason != "never"
        assert announced(plan, "release-tractor-brake", {**facts, "trailer-brake": "on"}).reason != "never"


def test_n10_legs_go_up_only_after_tug_and_look() -> None:
    """CDL manual 6.4.1 steps 11, 13 and 15: the legs catch a trailer that is not locked."""
    refuses("raise-legs", "tug", "failed")
    refuses("raise-legs", "jaw", "open")


SEEN = {
    "coupled": {"pin": "in jaw", "tug": "held", "release": "home", "gap": "none", "jaw": "closed", "lines": "connected",
                "lines-order": "right", "air": "charged", "cord": "connected", "legs": "up", "crank": "stowed",
                "chocks": "away", "tractor-brake": "on", "engine": "off", "lock": "open"},
    "road-ready": {"lights": "burning", "air-test": "passed", "air": "charged", "lines": "connected",
                   "lines-order": "right", "rear-air": "proven", "cord": "connected", "tug": "held", "release": "home",
                   "gap": "none", "jaw": "closed", "slider": "locked", "legs": "up", "crank": "stowed",
                   "chocks": "away", "mounting": "sound", "tractor-brake": "on"},
    "slider-locked": {"slider": "locked", "tug": "held", "jaw": "closed", "tractor-brake": "on", "engine": "off",
                      "trailer-brake": "on", "chocks": "placed"},
    "uncoupled": {"pin": "clear", "supports": "holding", "tractor-brake": "on", "engine": "off", "trailer-brake": "on",
                  "chocks": "placed"},
    "clear-to-recouple": {"pin": "clear", "kingpin": "sound", "tractor-brake": "on", "engine": "off",
                          "trailer-brake": "on", "chocks": "placed"},
    "wear-within-limits": {"wear": "within", "tractor-brake": "on", "engine": "off", "trailer-brake": "on",
                           "chocks": "placed"},
    "doubles-coupled": {"pintle": "latched", "dolly": "under", "pin": "in jaw", "tug": "held", "release": "home",
                        "gap": "none", "jaw": "closed", "lines": "connected", "lines-order": "right", "air": "charged",
                        "rear-air": "proven", "cord": "connected", "legs": "up", "crank": "stowed", "chocks": "away",
                        "tractor-brake": "on", "engine": "off"},
    "doubles-parted": {"pintle": "open", "dolly": "out", "pin": "clear", "supports": "holding", "tractor-brake": "on",
                       "engine": "off", "trailer-brake": "on", "chocks": "placed"},
}  # fmt: skip
"""What each claim needs: CDL manual 6.4.1 steps 11 to 16, 6.4.2 steps 7 to 10, 7.2 and section 5; COMAR 11.22.04.11."""


@pytest.mark.parametrize("claim", sorted(SEEN))
def test_n11_a_claim_needs_everything_seen(claim: str) -> None:
    """CDL manual 6.4.1 step 13; Washington State FACE narrative: a jaw taken on its sound let go."""
    mine = [plan for plan in plans() if plan.claim == claim]
    assert mine
    for plan in mine:
        needed = {plan.fact_names[index]: set(values) for index, values in plan.done_needs}
        for fact, value in SEEN[claim].items():
            assert needed.get(fact) == {value}, (plan.procedure, claim, fact)


CRITICAL = {
    "parking-brake-set", "trailer-brake-on", "pin-in-line", "pin-in-jaw", "release-home", "no-gap", "jaw-closed",
    "slider-locked", "pintle-latched", "rig-is-roadworthy",
}  # fmt: skip
"""Looks that a life hangs on; each is read back and needs two ears.

CDL manual 6.4.1 steps 1, 5, 6, 9, 12 and 13, and 7.2 on the pintle; 49 CFR 392.7 on the last word.
"""


def test_n11_each_look_that_a_life_hangs_on_is_confirmed() -> None:
    """CDL manual 6.4.1 step 13; ICAO Annex 10 on read-back: nothing heard once counts for the jaw, gap or release."""
    for plan in plans():
        for step in (*plan.steps, *plan.looks.values()):
            for phrase in CRITICAL & set(step.answers):
                assert step.answers[phrase].critical, (plan.procedure, step.id, phrase)


@pytest.mark.parametrize("phrase", ["release-out", "gap-seen", "jaw-open", "jaw-on-head", "trailer-moved"])
def test_n11_any_failed_sight_fails_the_coupling_whole(phrase: str) -> None:
    """CDL manual 6.4.1 step 13: if the coupling is not right, do not drive; nothing of it may be believed."""
    for plan in plans_of("couple"):
        for number, step in enumerate(plan.steps):
            if phrase in step.answers:
                facts = tuple(SAFE.get(name, UNKNOWN) for name in plan.fact_names)
                state = State(Phase.ASKING, number, facts)
                decision = engine_of(plan).decide(state, Heard(phrase, Role(step.who)), 0)
                assert decision.kind is Kind.FAILED, (plan.site, step.id)
                assert decision.state.facts == plan.blank


def test_n12_driving_needs_gap_jaw_and_release_seen() -> None:
    """CDL manual 6.4.1 step 13; Utah Admin. Code R714-162-10(1)(d); 49 CFR 392.7 and 396.13."""
    refuses("drive-off", "gap", "seen")
    refuses("drive-off", "jaw", "open")
    refuses("drive-off", "release", "out")
    refuses("drive-off", "tug", "failed")
    refuses("drive-off", "slider", "loose")


def test_n13_driving_needs_legs_up_and_crank_stowed() -> None:
    """CDL manual 6.4.1 step 15; TM 9-2330-335-14&P: legs part-way catch on crossings."""
    refuses("drive-off", "legs", "down", "just off")
    refuses("drive-off", "crank", "out")


def test_n14_driving_needs_air_and_a_passed_test() -> None:
    """CDL manual section 5; Ontario air brake handbook; NAVFAC MO-403 par. 7.2."""
    refuses("drive-off", "air", "low")
    refuses("drive-off", "air-test", "failed")


def test_n15_driving_needs_lines_uncrossed_and_cord() -> None:
    """CDL manual 6.4.1 steps 7, 8 and 14; 49 CFR 392.7(a) on lights."""
    refuses("drive-off", "lines", "off")
    refuses("drive-off", "lines-order", "crossed")
    refuses("drive-off", "cord", "off")
    refuses("drive-off", "lights", "out")


def test_n16_chocks_go_last() -> None:
    """CDL manual 6.4.1 step 16; SGI handbook, coupling, step 15."""
    refuses("remove-chocks", "jaw", "open")
    refuses("remove-chocks", "legs", "down", "just off")
    refuses("remove-chocks", "lines", "off")
    refuses("remove-chocks", "tractor-brake", "off")
    refuses("drive-off", "chocks", "placed")


def test_n17_the_release_needs_legs_down_on_firm_ground() -> None:
    """CDL manual 6.4.2 steps 1, 4 and 6; NAVFAC MO-403 par. 7.3: the trailer drops."""
    refuses("pull-release", "legs", "just off", "up")
    refuses("pull-release", "ground", "soft")
    refuses("pull-forward", "legs", "just off", "up")


@pytest.mark.parametrize("act", ["pull-release", "unlock-slider", "slide"])
def test_n18_the_release_needs_the_trailer_held(act: str) -> None:
    """CDL manual 6.4.2 steps 2 and 3; NAVFAC MO-403 par. 7.3 step 4: the trailer rolls as soon as it is free."""
    refuses(act, "trailer-brake", "off")
    refuses(act, "chocks", "away")
    if act == "pull-release":
        refuses(act, "tractor-brake", "off")


def test_n18_easing_back_needs_the_trailer_brakes() -> None:
    """CDL manual 6.4.2 step 2: trailer brakes first, then the load is eased off the jaws."""
    refuses("ease-back", "trailer-brake", "off")


def test_n19_nothing_is_pulled_off_its_lines() -> None:
    """CDL manual 6.4.2 steps 5 and 7; NAVFAC MO-403 par. 7.3: torn lines let the brakes go or whip."""
    refuses("pull-forward", "lines", "connected")
    refuses("pull-forward", "cord", "connected")
    refuses("draw-out", "lines", "connected")
    refuses("pull-clear", "lines", "connected")


def test_n20_feet_are_out_of_line_before_the_release_is_pulled() -> None:
    """CDL manual 6.4.2 step 6: legs and feet clear of the rear tractor wheels. By hand; from the cab none are near."""
    for plan, step in asks("pull-release"):
        if step.id.endswith("-air"):
            continue
        assert says_before(plan, step, "feet-in-line"), (plan.procedure, step.id)


def test_n21_nobody_pulls_clear_in_one_move() -> None:
    """CDL manual 6.4.2 steps 7 to 10; NAVFAC MO-403 par. 7.3 steps 6 and 7: the frame catches a sinking trailer."""
    refuses("pull-clear", "supports", "sinking")
    refuses("pull-clear", "pin", "clear", "in line", "over throat", "out of line", "in jaw")


def test_n22_supports_are_looked_at_beside_a_held_tractor() -> None:
    """CDL manual 6.4.2 steps 8 and 9."""
    refuses("look-at-supports", "tractor-brake", "off")


def test_n23_no_coupled_trailer_is_lifted_with_its_legs() -> None:
    """CDL manual 6.4.2 step 4: do not lift the trailer off the fifth wheel."""
    refuses("lift-with-legs", "pin", "in jaw")


def test_n24_no_pintle_is_opened_under_a_trailer() -> None:
    """CDL manual 7.2: the tow bar may fly up."""
    refuses("open-pintle", "dolly", "under")
    refuses("open-pintle", "tractor-brake", "off")


def test_n25_doubles_move_only_with_air_at_the_very_rear() -> None:
    """CDL manual 7.2; California commercial driver handbook p. 109."""
    refuses("drive-off", "rear-air", "missing")


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
    "tractor-brake", "trailer-brake", "chocks", "engine", "people", "pin", "release", "gap", "jaw", "supports", "dolly",
}  # fmt: skip
"""What may have changed while nobody listened: whatever rolls, sinks, leaks off, walks in or springs open."""


def test_n29_an_interruption_makes_the_place_doubtful() -> None:
    """Transport Canada multi-crew SOP 1.9: if interrupted, verify again; if the place is lost, restart."""
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
    """CDL manual 6.4.1 steps 5 and 12: brakes set and engine off before anyone gets out, also after a pause."""
    for plan in one_plan_each():
        secure = {plan.fact_names[index]: value for index, value in plan.secure.items()}
        assert secure == {"tractor-brake": "on", "engine": "off"}


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
