"""Whole utterance or nothing."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.phrases.live import Live, Role, Unheard
from assistant.phrases.match import match, sayable
from assistant.phrases.words import normalise

LIVE = Live(
    "en",
    {
        "emergency-stop": ("stop", "emergency stop"),
        "jaw-closed": ("jaw closed", "jaws around the pin"),
        "jaw-open": ("jaw is open",),
    },
    critical=frozenset({"jaw-closed"}),
    emergency=frozenset({"emergency-stop"}),
)
DUE = replace(LIVE, reading="pressure")
WITH_MATE = replace(LIVE, mate="mate")


@pytest.mark.parametrize(
    "heard", ["jaw closed", "Jaw closed.", "  JAW\tCLOSED ", "jaw-closed", "jaw, closed!"]
)
def test_case_marks_and_spaces_do_not_matter(heard: str) -> None:
    """Promise: spelling by a recogniser or a typist makes no difference to what was said."""
    assert match(heard, LIVE).phrase == "jaw-closed"


@given(before=st.lists(st.sampled_from(["not", "the", "is", "jaw", "stop", "one"]), max_size=3),
       after=st.lists(st.sampled_from(["not", "yet", "closed", "stop", "psi"]), max_size=3))  # fmt: skip
def test_a_phrase_inside_other_words_is_nothing(before: list[str], after: list[str]) -> None:
    """Hazard: "the jaw closed? no" taken for "jaw closed" lets a trailer drop on the road."""
    heard = match(" ".join([*before, "jaw closed", *after]), DUE)
    assert (heard.phrase == "jaw-closed") == (not before and not after)
    assert heard.reading is None


@given(st.text(max_size=30))
def test_exactly_one_outcome_for_any_text(text: str) -> None:
    """Promise: any text at all gives one outcome with an explanation, and never an exception."""
    for live in (LIVE, DUE, WITH_MATE):
        heard = match(text, live)
        assert [heard.phrase, heard.reading, heard.unheard].count(None) == 2
        assert heard.why.endswith(".")
        assert heard.words == normalise(heard.words)
        if heard.phrase:
            assert normalise(text) == heard.words


def test_every_sayable_line_is_its_phrase() -> None:
    """Promise: what the trainer's list of phrases prints is what counts."""
    for live in (LIVE, WITH_MATE):
        for phrase, lines in sayable(live).items():
            assert lines
            assert all(match(line, live).phrase == phrase for line in lines)
    assert "mate jaw closed" in sayable(WITH_MATE)["jaw-closed"]
    assert "mate jaw closed" not in sayable(LIVE)["jaw-closed"]


def test_the_mate_is_told_from_the_driver() -> None:
    """Hazard: an answer of the person under the trailer counted as the driver's, or the other way."""
    assert match("mate jaw closed", WITH_MATE).who is Role.MATE
    assert match("jaw closed", WITH_MATE).who is Role.DRIVER
    assert match("mate jaw closed", LIVE).unheard is Unheard.NOT_A_PHRASE
    assert match("mate", WITH_MATE).unheard is Unheard.NOT_A_PHRASE
    assert match("mate mate jaw closed", WITH_MATE).unheard is Unheard.NOT_A_PHRASE


@pytest.mark.parametrize("heard", ["stop", "stop stop", "stop stop stop stop", "stop emergency stop stop"])
def test_an_emergency_shouted_again_and_again_counts(heard: str) -> None:
    """Hazard: a person who shouts stop does not count how often."""
    assert match(heard, LIVE).phrase == "emergency-stop"


def test_only_an_emergency_may_be_repeated() -> None:
    """Promise: an echo of an answer is not an answer."""
    assert match("jaw closed jaw closed", LIVE).unheard is Unheard.NOT_A_PHRASE
    assert match("stop jaw closed", LIVE).unheard is Unheard.NOT_A_PHRASE
    assert match("stop stop", replace(LIVE, emergency=frozenset())).unheard is Unheard.NOT_A_PHRASE


def test_numbers_count_only_when_due() -> None:
    """Hazard: a number talked about at another step is taken for a reading."""
    due = match("one hundred ten psi", DUE).reading
    assert due is not None
    assert (str(due.value), due.unit, due.words) == ("110", "psi", "one hundred ten psi")
    assert match("one hundred ten psi", LIVE).unheard is Unheard.NOT_A_PHRASE
    assert match("one ten psi", DUE).unheard is Unheard.BAD_NUMBER
    assert match("around one hundred ten psi", DUE).unheard is Unheard.NOT_A_PHRASE
    mates = match("mate nine zero psi", replace(DUE, mate="mate"))
    assert mates.reading is not None
    assert mates.who is Role.MATE


def test_nothing_heard_is_silence() -> None:
    """Promise: no word at all is told apart from wrong words."""
    assert match(" ... ", LIVE).unheard is Unheard.SILENCE
