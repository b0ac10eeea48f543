"""Korean spoken numbers: what is understood, what is refused, and that saying and understanding agree."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.phrases.live import Reading
from assistant.phrases.number_types import UNITS, Kind, NumberRefused, Trouble
from assistant.phrases.numbers import (
    is_number_talk,
    jsgf,
    number_words,
    parse_reading,
    read_back,
    sample,
    say_number,
    say_reading,
)
from assistant.phrases.numbers_ko import say_whole


def _read(words: str, kind: str) -> tuple[str, str | None]:
    reading = parse_reading(words, kind, "ko")
    assert isinstance(reading, Reading), reading
    return f"{reading.value.normalize():f}", reading.unit


@pytest.mark.parametrize(
    ("words", "kind", "value", "unit"),
    [
        ("백십 피에스아이", "pressure", "110", "psi"),
        ("백 십 피에스아이", "pressure", "110", "psi"),
        ("일백일십 피에스아이", "pressure", "110", "psi"),
        ("일 일 공 피에스아이", "pressure", "110", "psi"),
        ("하나 하나 공 피에스아이", "pressure", "110", "psi"),
        ("일 영 오 피에스아이", "pressure", "105", "psi"),
        ("백오 피에스아이", "pressure", "105", "psi"),
        ("팔백육십이 킬로파스칼", "pressure", "862", "kPa"),
        ("팔백 육십이 킬로 파스칼", "pressure", "862", "kPa"),
        ("칠 점 오 바", "pressure", "7.5", "bar"),
        ("십이 점 영 오 바", "pressure", "12.05", "bar"),
        ("영 점 오 바", "pressure", "0.5", "bar"),
        ("마이너스 오 피에스아이", "pressure", "-5", "psi"),
        ("천이백오십 밀리미터", "length", "1250", "mm"),
        ("삼십팔 밀리", "length", "38", "mm"),
        ("이 점 오 인치", "length", "2.5", "in"),
        ("사십오 초", "time", "45", "s"),
        ("일 분 이십 초", "time", "80", "s"),
        ("삼 분", "time", "3", "min"),
        ("구십 도", "angle", "90", "deg"),
        ("백십", "pressure", "110", None),
        ("110 psi", "pressure", "110", "psi"),
        ("110 피에스아이", "pressure", "110", "psi"),
        ("-2.5 bar", "pressure", "-2.5", "bar"),
    ],
)
def test_forms_drivers_use(words: str, kind: str, value: str, unit: str | None) -> None:
    """Promise: each way a driver gives a measured value is understood exactly, unit and all."""
    assert _read(words, kind) == (value, unit)


@pytest.mark.parametrize(
    ("words", "kind", "trouble"),
    [
        ("백 일 공 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("이십 이십 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("십 백 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("일 이 십 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("하나 백 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("백 공 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("칠 점 이십오 바", "pressure", Trouble.RUN_TOGETHER),
        ("칠 점 오 점 오 바", "pressure", Trouble.RUN_TOGETHER),
        ("백 피에스아이 피에스아이", "pressure", Trouble.RUN_TOGETHER),
        ("1 10 psi", "pressure", Trouble.RUN_TOGETHER),
        ("일 10 psi", "pressure", Trouble.RUN_TOGETHER),
        ("점 오 바", "pressure", Trouble.LOST_START),
        ("공 오 피에스아이", "pressure", Trouble.LEADING_ZERO),
        ("스물 피에스아이", "pressure", Trouble.UNKNOWN_WORD),
        ("약 백 피에스아이", "pressure", Trouble.UNKNOWN_WORD),
        ("1,250 kPa", "pressure", Trouble.UNKNOWN_WORD),
        ("피에스아이", "pressure", Trouble.NO_NUMBER),
        ("마이너스", "pressure", Trouble.NO_NUMBER),
        ("", "pressure", Trouble.NO_NUMBER),
        ("육십 초", "pressure", Trouble.WRONG_UNIT),
        ("육십 피에스아이", "time", Trouble.WRONG_UNIT),
        ("일 분 구십 초", "time", Trouble.RUN_TOGETHER),
        ("일 이 삼 사 오 피에스아이", "pressure", Trouble.TOO_LARGE),
        ("10000 kPa", "pressure", Trouble.TOO_LARGE),
        ("일 점 일 이 삼 사 오 육 바", "pressure", Trouble.TOO_FINE),
    ],
)
def test_what_could_be_another_number_is_refused(words: str, kind: str, trouble: Trouble) -> None:
    """Hazard: a guessed reading passes a brake test that failed. Doubtful forms are asked again."""
    refused = parse_reading(words, kind, "ko")
    assert isinstance(refused, NumberRefused), refused
    assert refused.trouble is trouble
    assert refused.reason.endswith(".")


_hundredths = st.integers(-999_999, 999_999).map(lambda n: Decimal(n) / 100)
_units = st.sampled_from([(kind, unit) for kind, units in UNITS.items() for unit in units])


@given(value=_hundredths, what=_units)
def test_what_is_said_is_understood(value: Decimal, what: tuple[Kind, str]) -> None:
    """Promise: every value to two places in every unit, read back by the voice, means the same value."""
    kind, unit = what
    reading = parse_reading(say_reading(value, unit, "ko"), kind, "ko")
    assert isinstance(reading, Reading)
    assert (reading.value, reading.unit) == (value, unit)


def test_every_whole_number_is_understood_both_ways() -> None:
    """Promise: no whole number from 0 to 9,999, in digits or in full, is taken for another one."""
    for number in range(10_000):
        assert _read(say_number(Decimal(number), "ko"), "angle") == (str(number), None)
        if number:
            assert _read(say_whole(number), "angle") == (str(number), None)


@given(words=st.text(alphabet="일이삼사오육칠팔구영공십백천점 ", max_size=9))
def test_spaces_change_nothing(words: str) -> None:
    """Promise: where the recogniser happens to put its spaces makes no other number of it."""
    apart, joined = (parse_reading(text, "angle", "ko") for text in (" ".join(words), words.replace(" ", "")))
    if isinstance(apart, Reading):
        assert isinstance(joined, Reading)
        assert apart.value == joined.value
    else:
        assert isinstance(joined, NumberRefused)


@given(
    words=st.text(alphabet="일이삼사오육칠팔구영공십백천점바초분도 1.5", max_size=12),
    kind=st.sampled_from(list(Kind)),
)
def test_any_heap_of_number_syllables_ends_in_an_answer(words: str, kind: Kind) -> None:
    """Promise: whatever a recogniser puts out is a reading or a refusal with a reason, never a crash."""
    found = parse_reading(words, kind, "ko")
    assert isinstance(found, Reading | NumberRefused)
    if isinstance(found, Reading):
        assert abs(found.value) < 10_000


@pytest.mark.parametrize("kind", list(Kind))
def test_the_recognisers_sentences_are_understood(kind: Kind) -> None:
    """Promise: sentences of the number grammar are readings, and the recogniser is given their words."""
    rng = random.Random(7)
    for _ in range(2000):
        words = sample(kind, rng, "ko")
        assert isinstance(parse_reading(words, kind, "ko"), Reading), words
        assert is_number_talk(words, "ko")
    assert {"하나", "공", "백", "점"} <= number_words(kind, "ko")
    assert jsgf(kind, "ko").startswith("#JSGF V1.0;")


def test_digits_are_read_back_in_radio_form() -> None:
    """Hazard: 일 and 이 are one sound apart; the read-back uses 하나 and 둘, and names the unit."""
    reading = parse_reading("백십이 피에스아이", "pressure", "ko")
    assert isinstance(reading, Reading)
    assert read_back(reading, "ko") == "하나 하나 둘 피에스아이"


def test_numbers_that_cannot_be_said_raise() -> None:
    """Hazard: a value cut short in the read-back would be confirmed wrongly."""
    for value in (Decimal(10_000), Decimal("0.123456")):
        with pytest.raises(ValueError, match="outside"):
            say_number(value, "ko")
