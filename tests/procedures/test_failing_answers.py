"""What an answer that tells of trouble leads to: never on, as if all were well."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import pytest
from ways import PROCEDURES, Setting, settings

from assistant.procedure.plan import DONE, FAIL, HALT, RESTART, PlanAnswer

SPECIAL = {DONE: "done", FAIL: "fail", HALT: "halt", RESTART: "restart"}

CHOICES = {
    # Not trouble, but which of several things is so: these may lead on.
    ("uncouple", "where-stands", "tractor-clear"),
    ("recover", "what", "trailer-too-low"),
    ("recover", "what", "trailer-too-high"),
    ("recover", "what", "pin-short"),
    ("recover", "what", "tractor-clear"),
    ("recover", "where-pin", "pin-clear"),
}


def target(one: Setting, answer: PlanAnswer) -> str:
    """Where an answer leads, by name."""
    return SPECIAL.get(answer.next) or one.plan.steps[answer.next].id


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_an_answer_of_trouble_never_leads_on(procedure: str) -> None:
    """Hazard: "gap seen" that goes to the next step like "no gap" couples a trailer that falls off."""
    for one in settings(procedure):
        for at, step in enumerate(one.plan.steps):
            for answer in list(step.answers.values())[1:]:
                if (procedure, step.id, answer.phrase) in CHOICES:
                    continue
                where = (str(one), step.id, answer.phrase, target(one, answer))
                assert answer.next != DONE, where
                on = answer.next > at and not one.plan.steps[answer.next].aside and not step.aside
                assert not on, where
            if step.reading is not None:
                assert step.reading.outside.next != DONE
                assert step.reading.outside.next != step.reading.within.next, (str(one), step.id)


TROUBLE = Path(__file__).with_name("trouble.txt")


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_answer_of_trouble_is_there_and_leads_where_it_was_read_to(procedure: str) -> None:
    """Hazard: an answer lost from a file leaves the driver no way to say what is wrong."""
    found: dict[tuple[str, str], set[str]] = {}
    for one in settings(procedure):
        for step in one.plan.steps:
            given = [(answer.phrase, answer) for answer in list(step.answers.values())[1:]]
            given += [("outside", step.reading.outside)] if step.reading else []
            for name, answer in given:
                found.setdefault((step.id, name), set()).add(target(one, answer))
    lines = (line.split() for line in TROUBLE.read_text("utf-8").splitlines() if not line.startswith("#"))
    wanted = {(step, name): set(to.split("|")) for of, step, name, to in lines if of == procedure}
    assert found == wanted


CRITICAL = {
    "parking-brake-set", "trailer-brake-on", "pin-in-line", "release-home", "no-gap", "jaw-closed", "pintle-latched",
    "slider-locked", "rig-is-roadworthy",
}  # fmt: skip
"""What two ears must agree on wherever it is said; nothing else needs them at a step."""


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_what_holds_the_trailer_is_critical_wherever_it_counts(procedure: str) -> None:
    """Hazard: one ear in the wind hears "jaw closed" where nobody said it."""
    for one in settings(procedure):
        for step in one.plan.steps:
            for answer in step.answers.values():
                assert answer.critical == (answer.phrase in CRITICAL), (str(one), step.id, answer.phrase)


NEEDS = {
    ("couple", "back-under"): {"lock": ["open"], "throat": ["clean"]},
    ("doubles", "back-under"): {"lock": ["open"], "throat": ["clean"], "pintle": ["latched"]},
    ("doubles-apart", "draw-out"): {"pintle": ["open"]},
}
HELD = {"tractor-brake": "on", "engine": "off", "trailer-brake": "on", "chocks": "placed"}
COUPLED = {
    "pin": "in jaw", "tug": "held", "release": "home", "gap": "none", "jaw": "closed", "lines": "connected",
    "lines-order": "right", "air": "charged", "cord": "connected", "legs": "up", "crank": "stowed", "chocks": "away",
    "tractor-brake": "on",
}  # fmt: skip
CLAIMS = {
    "couple": {**COUPLED, "lock": "open", "engine": "off"},
    "doubles": {**COUPLED, "engine": "off", "pintle": "latched", "dolly": "under", "rear-air": "proven"},
    "road-ready": {
        **{name: value for name, value in COUPLED.items() if name != "pin"},
        "lights": "burning", "air-test": "passed", "rear-air": "proven", "slider": "locked", "mounting": "sound",
    },
    "recover": {**HELD, "pin": "clear", "kingpin": "sound"},
    "uncouple": {**HELD, "pin": "clear", "supports": "holding"},
    "doubles-apart": {**HELD, "pin": "clear", "supports": "holding", "pintle": "open", "dolly": "out"},
    "slide-fifth-wheel": {**HELD, "slider": "locked", "tug": "held", "jaw": "closed"},
    "wear-check": {**HELD, "wear": "within"},
}  # fmt: skip


def test_nothing_is_claimed_or_begun_on_less_than_was_agreed() -> None:
    """Hazard: "coupled" claimed without the jaw seen, or backing under with the jaws shut."""
    needs = {}
    for procedure in PROCEDURES:
        files = settings(procedure)[0].files
        claimed = dict(files.procedure.done.needs)
        assert claimed == {name: [value] for name, value in CLAIMS[procedure].items()}, procedure
        needs |= {(procedure, step.id): step.needs for step in files.procedure.step if step.needs}
    assert needs == NEEDS


HURTS = [
    # procedure, step, answer, what happens, source
    ("couple", "see-jaw", "jaw-open", "fail", "CDL manual 6.4.1 step 13"),
    ("couple", "see-jaw", "jaw-on-head", "fail", "CDL manual 6.4.1 step 13: shank, not head"),
    ("couple", "see-gap", "gap-seen", "fail", "CDL manual 6.4.1 step 13; Utah R714-162-10(1)(d)"),
    ("couple", "see-release", "release-out", "fail", "CDL manual 6.4.1 step 13"),
    ("couple", "tug", "trailer-moved", "fail", "CDL manual 6.4.1 step 11"),
    ("couple", "mate-jaw", "jaw-on-head", "fail", "CDL manual 6.4.1 step 13"),
    ("couple", "mate-gap", "gap-seen", "fail", "CDL manual 6.4.1 step 13"),
    ("doubles", "see-jaw", "jaw-on-head", "fail", "CDL manual 7.2"),
    ("doubles", "see-pin", "pin-over-throat", "restart", "CDL manual 6.4.1 step 6"),
    ("doubles", "rear-emergency", "no-rush-of-air", "find-valve", "CDL manual 7.2: look for a closed valve"),
    ("uncouple", "boards", "no-boards", "halt", "CDL manual 6.4.2 step 1"),
    ("uncouple", "legs-plate", "plate-gap", "legs-back", "CDL manual 6.4.2 step 4: not off the fifth wheel"),
    ("uncouple", "supports", "legs-sinking", "halt", "CDL manual 6.4.2 steps 7 and 9"),
    ("uncouple", "mate-supports", "legs-sinking", "halt", "CDL manual 6.4.2 step 9"),
    ("uncouple", "ease", "trailer-rolled", "rolled", "CDL manual 6.4.2 step 2"),
    ("recover", "what", "pin-over-throat", "hook-ground", "IRTE code of practice (2007)"),
    ("recover", "what", "jaw-on-head", "grip-look", "CDL manual 6.4.1 step 13"),
    ("recover", "what", "legs-carrying", "legs-straight", "CDL manual 6.4.2 step 9"),
    ("recover", "what", "brakes-stay-locked", "chocks-tight", "CDL manual 6.2"),
    ("recover", "what", "release-out", "handle-look", "CDL manual 6.4.1 step 13"),
    ("recover", "what", "something-else", "halt", "CDL manual 6.4.1 step 13: do not drive"),
    ("recover", "supports", "legs-sinking", "halt", "CDL manual 6.4.2 steps 7 and 9"),
    ("road-ready", "see-jaw", "jaw-on-head", "halt", "49 CFR 392.7; CDL manual 6.4.1 step 13"),
    ("road-ready", "lights", "lamp-dead", "halt", "49 CFR 392.7"),
    ("road-ready", "pintle", "pintle-open", "air-faulty", "CDL manual 7.2"),
    ("slide-fifth-wheel", "lock-again", "slider-loose", "halt", "49 CFR 392.7(b)"),
    ("doubles-apart", "pintle-open", "hook-will-not-open", "halt", "CDL manual 7.2"),
    ("wear-check", "lock-parts", "lock-parts-broken", "tag-out", "Utah R714-162-10"),
    ("wear-check", "trailer-plate", "trailer-plate-damaged", "tag-out", "Utah R714-162-10"),
]


@pytest.mark.parametrize(("procedure", "step", "phrase", "leads", "source"), HURTS)
def test_what_hurts_most_leads_where_it_must(
    procedure: str, step: str, phrase: str, leads: str, source: str
) -> None:
    """Hazard: each row is a way people were hurt, and what must happen when it is seen."""
    met = 0
    for one in settings(procedure):
        for asked in (asked for asked in one.plan.steps if asked.id == step):
            met += 1
            assert target(one, asked.answers[phrase]) == leads, (str(one), source)
    assert met


CLEAR_END = {"pin": "clear", "tractor-brake": "on", "trailer-brake": "on", "chocks": "placed"}


def test_recovery_ends_with_the_tractor_clear_and_the_trailer_held() -> None:
    """Promise: every recovery ends in a whole new coupling or in a halt, never in a half-way state."""
    for one in settings("recover"):
        needs = one.files.procedure.done.needs
        assert {name: needs[name] for name in CLEAR_END} == {name: [value] for name, value in CLEAR_END.items()}
        faults = set(next(step for step in one.plan.steps if step.id == "what").answers)
        asked = {"pin-over-throat", "jaw-on-head", "trailer-moved", "trailer-too-low", "trailer-too-high",
                 "pin-short", "legs-carrying", "brakes-stay-locked", "release-out"}  # fmt: skip
        assert asked <= faults


def test_steps_that_both_crews_have_ask_the_same_of_both() -> None:
    """Promise: a second person adds looks and takes none away."""
    for procedure in PROCEDURES:
        by_rig = {(one.rig, one.site, one.crew): one for one in settings(procedure)}
        for (rig, site, crew), one in by_rig.items():
            if crew == "mate":
                alone = by_rig[rig, site, "alone"]
                kept = {step.id for step in one.plan.steps}
                gone = {step.id for step in alone.plan.steps} - kept
                swapped = {name for name, stem in product(gone, ("people-", "brake-lamps")) if name.startswith(stem)}
                assert gone == swapped, str(one)
