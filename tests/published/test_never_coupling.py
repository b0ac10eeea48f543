"""Orders that must never happen up to driving off, each against the published text that forbids it.

For each act, the facts that must be seen, and seen safe, before it. The real engine is asked with
every shipped plan.
"""

from __future__ import annotations

import pytest

from assistant.engine.events import Heard, Resumed
from assistant.engine.guide import good_run
from assistant.engine.state import Kind, Phase, State
from assistant.phrases.live import Role
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import Plan, PlanStep

from .conftest import announced, engine_of, one_plan_each, plans, plans_of
from .never import MOVES, MOVES_BACK, SAFE, asks, refuses, says_before


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
    "pull-release": {"lock": UNKNOWN, "release": UNKNOWN},
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


@pytest.mark.parametrize("brake", ["off", UNKNOWN])
@pytest.mark.parametrize("chocks", ["away", UNKNOWN])
def test_n09_the_tractor_is_let_go_only_beside_a_held_trailer(brake: str, chocks: str) -> None:
    """HSE RR1069: runaways with neither brake applied; chocks or the trailer's brake hold the rig."""
    for plan in one_plan_each():
        facts = {**SAFE, "trailer-brake": brake, "chocks": chocks}
        assert announced(plan, "release-tractor-brake", facts).rule == "brake-off-trailer-free"
        assert announced(plan, "release-tractor-brake", {**facts, "chocks": "placed"}).reason != "never"
        assert announced(plan, "release-tractor-brake", {**facts, "trailer-brake": "on"}).reason != "never"


def test_n09_all_brakes_come_off_for_the_leak_test_and_only_on_chocks_seen() -> None:
    """Ontario truck handbook test 6-1-4; CDL manual 5.3.2: the wheels are chocked, then all brakes are released."""
    for plan, _ in asks("release-tractor-brake"):
        assert plan.procedure == "road-ready"
    for plan in plans():
        engine = engine_of(plan)
        for state, _ in good_run(engine):
            if state.phase is not Phase.ASKING:
                continue
            step, facts = plan.steps[state.step], plan.facts_dict(state.facts)
            said = engine.decide(state, Heard(plan.acts["release-tractor-brake"].announce), state.since)
            if step.act == "release-tractor-brake":
                assert (facts["chocks"], facts["people"], said.kind) == ("placed", "clear", Kind.ALLOWED)
                broken_off = engine.decide(state, Resumed(changed=False), state.since).state
                again = engine.decide(broken_off, Heard(plan.acts["release-tractor-brake"].announce), state.since)
                assert again.kind is Kind.REFUSED, "chocks not looked at again since the interruption hold nothing"
            else:
                assert said.kind is Kind.REFUSED, (plan.procedure, step.id)


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
