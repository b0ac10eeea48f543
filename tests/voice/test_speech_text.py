"""Text for the ear: numbers by the radio rule, units in words, nothing a synthesiser could obey."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import InputError
from assistant.voice.speech_text import LONGEST, for_ear, unspeakable, with_signal


@pytest.mark.parametrize(
    ("written", "spoken"),
    [
        ("You said 110 psi", "You said one one zero p s i"),
        ("Not under 690 kPa", "Not under six niner zero kilopascals"),
        ("7.5 bar", "seven point five bar"),
        ("Wait 5 s.", "Wait five seconds."),
        ("Cut-out at 500 kPa", "Cut-out at five hundred kilopascals"),
        ("1 of 10", "one of one zero"),
        ("-5 °", "minus five degrees"),
        ("100-120 psi", "one hundred to one two zero p s i"),
        ("A gap of 1/8 in or more", "A gap of one eighth of an inch or more"),
        ("1 in 13", "one in one three"),
        ("Pressure in psi", "Pressure in p s i"),
        ("Line\n two", "Line two"),
        ("Step A2, M16 and 5th", "Step A2, M16 and 5th"),
    ],
)
def test_numbers_are_spoken_as_they_should_be_answered(written: str, spoken: str) -> None:
    """Promise: digits one by one, "niner", "point", round hundreds (FAA AIM 4-2-8 and 4-2-9)."""
    assert for_ear(written) == spoken


def test_korean_units_are_words() -> None:
    """Promise: a Korean prompt does not spell Latin unit signs."""
    assert for_ear("690 kPa 이상, 3 s", "ko").endswith("초")
    assert "kPa" not in for_ear("690 kPa 이상", "ko")


@pytest.mark.parametrize("text", ["Crush hazard.", "DANGER: Crush hazard.", "danger - Crush hazard."])
def test_a_hazard_leads_with_its_signal_word_once(text: str) -> None:
    """Promise: signal word first (ANSI Z535 words), never twice."""
    assert with_signal("danger", text) == "Danger. Crush hazard."
    assert with_signal("danger", "압착 위험", "ko").startswith("위험. ")
    with pytest.raises(InputError, match="no signal word"):
        with_signal("panic", text)


@pytest.mark.parametrize(
    "text",
    [
        "<speak>stop</speak>",
        "[[h@l'oU]]",
        "a\x00b",
        "a\x1b[2J",
        "a\u202eb",
        "",
        "...",
        "a" * (LONGEST + 1),
        "&lt;x",
        "{x}",
    ],
)
def test_markup_and_control_characters_are_refused(text: str) -> None:
    """Hazard: mark-up could silence or reword a hazard; it is refused with a sentence."""
    assert unspeakable(text).endswith(".")


@given(st.text(max_size=80))
def test_any_text_ends_in_words_or_a_refusal(text: str) -> None:
    """Promise: no text of a file or a hearing brings the voice down."""
    spoken = for_ear(text)
    assert "\n" not in spoken
    assert isinstance(unspeakable(spoken), str)


@given(st.integers(0, 9999))
def test_every_number_becomes_words(number: int) -> None:
    """Promise: no figure is left for a synthesiser to read in its own way."""
    assert not any(char.isdigit() for char in for_ear(f"Read {number} psi now"))
