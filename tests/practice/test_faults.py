"""Every fault that a trainer can seed is found by a careful trainee, and by no order of work hurts one."""

from __future__ import annotations

import random

import pytest
from honest import Seen, Yard, honest_run, yards

from assistant.errors import InputError
from assistant.practice.faults import FAULTS, GIVE_UP, LOOK, READING, drawn, fitting, seeded
from assistant.practice.sights import PICTURES
from assistant.practice.truth import Harm
from assistant.practice.words import yard_words


def _cases() -> list[tuple[str, str]]:
    return [(name, procedure) for name, fault in FAULTS.items() for procedure in fault.procedures]


def _found(fault: str, seen: Seen) -> bool:
    says = FAULTS[fault].says
    return bool(
        set(says) & set(seen.said)
        or (GIVE_UP in says and "give-up" in seen.said)
        or (READING in says and seen.outside)
        or LOOK in says
    )


def _fitting(fault: str, procedure: str) -> list[Yard]:
    """Where a fault means something: at two sites of unlike order, so that the test stays short."""
    sites = {"us-handbook", "uk-standard"}
    found = [yard for yard in yards() if FAULTS[fault].applies(procedure, yard.fit) and yard.procedure == procedure]
    return [yard for yard in found if yard.site in sites][:2]


@pytest.mark.parametrize(("fault", "procedure"), _cases())
def test_every_seeded_fault_is_found_by_a_careful_trainee(fault: str, procedure: str) -> None:
    """Who does what is asked, looks and tells the truth finds the fault, and nothing breaks on the way."""
    where = _fitting(fault, procedure)
    assert where, "the fault fits no rig"
    words = yard_words("en")
    for yard in where:
        truth = seeded(yard.truth(), [fault])
        for look, picture in PICTURES.items():
            assert words.sight(look, picture(truth))
        seen = honest_run(yard.plan, truth)
        assert _found(fault, seen), (yard.rig, yard.site, seen.said[-5:], seen.state.outcome)
        assert seen.harms == [], yard
        assert seen.against == [], yard
        for look, picture in PICTURES.items():
            assert words.sight(look, picture(seen.crew.truth))


@pytest.mark.parametrize("procedure", sorted({yard.procedure for yard in yards()}))
def test_a_sound_rig_comes_to_the_end(procedure: str) -> None:
    """With nothing wrong an honest crew finishes at every rig, site and crew, and breaks nothing."""
    for yard in yards():
        if yard.procedure != procedure or (yard.crew == "mate" and yard.site != "us-handbook"):
            continue
        seen = honest_run(yard.plan, yard.truth())
        assert seen.state.outcome == "done", (yard.rig, yard.site, yard.crew, seen.said[-4:])
        assert seen.harms == []
        assert seen.against == []


def test_a_fault_shows_to_the_eye() -> None:
    """At the start, or once its moment has come, looking at a fault's thing shows something else than on a sound rig."""
    at_once = ["mounting-cracked", "throat-dirty", "kingpin-worn", "ground-soft", "chock-missing", "slider-misplaced", "slope"]
    yard = next(one for one in yards() if one.procedure == "couple" and one.rig == "slider-air")
    for name in at_once:
        faulty = seeded(yard.truth(), [name])
        assert any(PICTURES[look](faulty) != PICTURES[look](yard.truth()) for look in FAULTS[name].looks), name


def test_a_draw_is_by_difficulty_and_seed_alone() -> None:
    """A trainer can give a whole class the same rig, and no beginner the hardest one."""
    yard = next(one for one in yards() if one.procedure == "couple")
    for difficulty in range(4):
        for seed in range(40):
            once = drawn("couple", yard.fit, difficulty, random.Random(seed))
            assert once == drawn("couple", yard.fit, difficulty, random.Random(seed))
            assert all(FAULTS[name].hard <= difficulty or name == "slope" for name in once)
            assert len(once) <= difficulty
            assert all(FAULTS[name] in fitting("couple", yard.fit) for name in once)
            seeded(yard.truth(), once)
    assert drawn("couple", yard.fit, 0, random.Random(1)) == ()


def test_an_unknown_fault_is_named() -> None:
    """A trainer who mistypes a fault is told, and not given a sound rig."""
    with pytest.raises(InputError, match="no fault 'jaw-on-hed'"):
        seeded(yards()[0].truth(), ["jaw-on-hed"])


def test_everything_that_can_break_has_a_sentence() -> None:
    """The trainee is told what broke and why, whatever it was."""
    import re
    from pathlib import Path

    import assistant.practice as package

    kinds: set[str] = set()
    for path in Path(package.__file__).parent.glob("*.py"):
        text = path.read_text("utf-8")
        kinds |= set(re.findall(r'harmed\(\s*"([a-z-]+)"', text))
        kinds |= set(re.findall(r'^        \("([a-z-]+)", .*\),', text, re.M)) if path.name == "driving.py" else set()
    kinds |= {"runaway", "runaway-outside"}
    words = yard_words("en")
    assert len(kinds) > 25
    assert kinds == set(words.harm)
    for kind in kinds:
        assert words.damage(Harm(kind, "", 0))
