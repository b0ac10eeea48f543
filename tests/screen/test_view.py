"""The view is whole: whatever is asked, there is a pad for it, in every procedure and on every rig."""

from __future__ import annotations

import json
import re

import pytest

from assistant.engine.events import Heard, Measured
from assistant.engine.guide import good_run
from assistant.engine.state import Phase
from assistant.prepare import grammars, library, prepare
from assistant.screen.labels import labels
from assistant.screen.labels_ko import KOREAN
from assistant.screen.view import NUMBER, offered, question_of, view_of
from assistant.session import Shown

LIBRARY = library()


@pytest.mark.parametrize("crew", ["alone", "mate"])
@pytest.mark.parametrize("rig", LIBRARY.names("rigs"))
@pytest.mark.parametrize("procedure", ["couple", "uncouple"])
def test_a_faultless_run_can_be_pressed_from_end_to_end(procedure: str, rig: str, crew: str) -> None:
    """Promise: pads alone lead through a whole job; each question has its own name, and the view is plain JSON."""
    ready = prepare(LIBRARY, grammars(), procedure, rig=rig, crew=crew)
    names: list[str] = []
    now = 0
    for state, told in good_run(ready.engine):
        decision = ready.engine.decide(state, told.event, now := now + 1000 + told.wait_ms)
        sentences = tuple(ready.wording.sentences(decision.lines))
        view = view_of(Shown(ready, decision.state, None, told.event, decision, sentences, len(names)))
        json.dumps(view)
        names.append(str(view["question"]))
        assert decision.state.phase is Phase.OVER or view["sentence"]
        if state.phase is Phase.READY:
            continue
        before = view_of(Shown(ready, state, None, told.event, decision._replace(state=state), (), 0))
        if isinstance(told.event, Heard):
            assert told.event.phrase in offered(before)
        elif isinstance(told.event, Measured):
            assert NUMBER in offered(before)
            assert told.event.unit in before["keypad"]["units"]  # type: ignore[index]
    assert len(set(names)) == len(names)


def test_the_same_state_asks_the_same_question() -> None:
    """Promise: a page that reloads, or a program that resumed, knows whether a press is still for this question."""
    first = prepare(LIBRARY, grammars(), "couple")
    second = prepare(LIBRARY, grammars(), "couple")
    for (one, _), (two, _) in zip(good_run(first.engine), good_run(second.engine), strict=True):
        assert question_of(one) == question_of(two)
        assert question_of(one) == question_of(one._replace(silent=2, misses=1, since=99_000))


def test_a_language_without_labels_falls_back_to_whole_ones() -> None:
    """Hazard: a page with blank pads, because a language's labels are not written yet."""
    assert labels("xx") == labels("en")
    assert all(labels("en").values())


def test_korean_has_every_label_and_its_places() -> None:
    """Hazard: an English word, or a hole, in the middle of a Korean page."""
    english, korean = labels("en"), labels("ko")
    assert set(KOREAN) == set(english)
    for key, text in english.items():
        assert sorted(re.findall(r"{\w+}", korean[key])) == sorted(re.findall(r"{\w+}", text)), key
        assert korean[key] != text
