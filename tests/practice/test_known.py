"""The classroom yard knows everything that the shipped procedures ask about."""

from __future__ import annotations

import tomllib

from honest import Yard, yards

from assistant.phrases.book import load_book
from assistant.practice import acts, deeds, readings, replies, sights
from assistant.practice.classroom import JOBS
from assistant.practice.faults import FAULTS, GIVE_UP, LOOK, READING
from assistant.practice.looks import THING
from assistant.practice.putting import FITS, PUT
from assistant.practice.words import ASK, DO, yard_words
from assistant.practice.words import LOOK as LOOK_ID
from assistant.prepare import grammars
from assistant.shipped import shipped


def _steps(yard: Yard) -> list[object]:
    return [*yard.plan.steps, *yard.plan.looks.values()]


def test_every_act_fact_answer_and_reading_of_every_procedure_is_known() -> None:
    """A step that the yard cannot play would teach a trainee nothing, or something false."""
    unknown: set[str] = set()
    acts_met, facts_met, phrases_met, limits_met = set(), set(), set(), set()
    for yard in yards():
        facts_met |= set(yard.plan.fact_names)
        acts_met |= set(yard.plan.acts)
        for step in _steps(yard):
            phrases_met |= set(step.answers)  # type: ignore[attr-defined]
            acts_met |= {step.act} - {None}  # type: ignore[attr-defined]
            if step.reading is not None:  # type: ignore[attr-defined]
                limits_met.add(step.reading.limit.name)  # type: ignore[attr-defined]
            if step.hold is not None:  # type: ignore[attr-defined]
                phrases_met.add(step.hold.begin)  # type: ignore[attr-defined]
    unknown |= acts_met - set(acts.ACTS)
    unknown |= facts_met - sights.FACTS
    unknown |= phrases_met - replies.KNOWN
    unknown |= limits_met - readings.KNOWN
    assert unknown == set()
    yard_file = tomllib.loads((shipped("procedures") / "yard.toml").read_text("utf-8"))
    assert set(yard_file["facts"]) == sights.FACTS
    assert set(yard_file["acts"]) == set(acts.ACTS)
    assert set(deeds.DEEDS) <= replies.KNOWN
    assert set(deeds.MENDED) <= phrases_met


def test_every_fact_the_yard_tells_has_a_value_the_procedures_know() -> None:
    """A value that no procedure has would never match a never rule, and hide what is dangerous."""
    for yard in yards():
        truth = yard.truth()
        for name, values in zip(yard.plan.fact_names, yard.plan.fact_values, strict=True):
            assert sights.fact(truth, name) in {"", *values}, name


def test_an_unknown_act_or_phrase_is_an_error_and_not_silence() -> None:
    """What the yard does not know must be noticed by whoever adds it."""
    truth = yards()[0].truth()
    for call in (lambda: acts.act(truth, "fly"), lambda: replies.true(truth, "all-is-well"), lambda: sights.fact(truth, "mood")):
        try:
            call()
        except KeyError:
            continue
        raise AssertionError("something unknown was taken without a word")


def test_every_fault_shows_somewhere_and_has_an_answer() -> None:
    """A fault that nobody can see or say cannot be taught."""
    for fault in FAULTS.values():
        assert fault.looks, fault.id
        assert set(fault.looks) <= set(sights.PICTURES), fault.id
        assert set(fault.says) - {GIVE_UP, LOOK, READING} <= replies.KNOWN, fault.id
        assert fault.says, fault.id
        assert fault.hard in {1, 2, 3}
    assert set(PUT) | set(FITS) <= set(FAULTS)


def test_the_yards_own_words_are_no_answers() -> None:
    """A look must never be taken for an answer, nor an answer for a look."""
    words = yard_words("en")
    book = load_book(grammars(), "en")
    answers = {say for phrase in book.phrases for say in book.says(phrase)}
    own = [say for says in words.phrases.values() for say in says]
    assert not answers & set(own)
    assert len(own) == len(set(own))
    assert {name.removeprefix(DO) for name in words.phrases if name.startswith(DO)} == JOBS
    assert {name.removeprefix(LOOK_ID) for name in words.phrases if name.startswith(LOOK_ID)} == set(sights.PICTURES)
    assert {name.removeprefix(ASK) for name in words.phrases if name.startswith(ASK)} == {"do-it", "take-reading", "all-done"}
    assert set(THING.values()) <= set(sights.PICTURES)
    assert set(THING) <= replies.KNOWN
