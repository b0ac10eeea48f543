"""Spoken numbers: what is understood, what is refused, and that saying and understanding agree."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from text_to_num import text2num

from assistant.errors import InputError
from assistant.phrases.live import Reading
from assistant.phrases.number_types import Kind, NumberRefused, Trouble
from assistant.phrases.numbers import (
    jsgf,
    number_words,
    parse_reading,
    read_back,
    sample,
    say_number,
    say_reading,
)


def _read(words: str, kind: str) -> tuple[str, str | None]:
    reading = parse_reading(words, kind)
    assert isinstance(reading, Reading), reading
    return f"{reading.value.normalize():f}", reading.unit


@pytest.mark.parametrize(
    ("words", "kind", "value", "unit"),
    [
        ("one hundred ten psi", "pressure", "110", "psi"),
        ("one hundred and ten p s i", "pressure", "110", "psi"),
        ("one one zero psi", "pressure", "110", "psi"),
        ("one oh five pounds", "pressure", "105", "psi"),
        ("a hundred and twenty pounds per square inch", "pressure", "120", "psi"),
        ("sixty kilopascals", "pressure", "60", "kPa"),
        ("eight six two kilopascals", "pressure", "862", "kPa"),
        ("twelve hundred k p a", "pressure", "1200", "kPa"),
        ("eight point five bar", "pressure", "8.5", "bar"),
        ("eight decimal oh five bar", "pressure", "8.05", "bar"),
        ("seven and a half bar", "pressure", "7.5", "bar"),
        ("tree fife psi", "pressure", "35", "psi"),
        ("fower niner psi", "pressure", "49", "psi"),
        ("minus five psi", "pressure", "-5", "psi"),
        ("zero psi", "pressure", "0", "psi"),
        ("one hundred ten", "pressure", "110", None),
        ("three eighths of an inch", "length", "0.375", "in"),
        ("three eighths inch", "length", "0.375", "in"),
        ("three-eighths of an inch", "length", "0.375", "in"),
        ("one and seven eighths inches", "length", "1.875", "in"),
        ("five sixteenths inch", "length", "0.3125", "in"),
        ("five thirty-seconds of an inch", "length", "0.15625", "in"),
        ("twenty three thirty seconds of an inch", "length", "0.71875", "in"),
        ("half an inch", "length", "0.5", "in"),
        ("a half inch", "length", "0.5", "in"),
        ("an eighth of an inch", "length", "0.125", "in"),
        ("one and a half inches", "length", "1.5", "in"),
        ("one point eight seven five inches", "length", "1.875", "in"),
        ("thirty eight millimeters", "length", "38", "mm"),
        ("one thousand two hundred fifty millimetres", "length", "1250", "mm"),
        ("forty five seconds", "time", "45", "s"),
        ("one and a half minutes", "time", "1.5", "min"),
        ("one minute twenty seconds", "time", "80", "s"),
        ("ninety degrees", "angle", "90", "deg"),
        ("110 psi", "pressure", "110", "psi"),
        ("-2.5 bar", "pressure", "-2.5", "bar"),
        ("1 7/8 in", "length", "1.875", "in"),
        ("3/8 inch", "length", "0.375", "in"),
    ],
)
def test_forms_drivers_use(words: str, kind: str, value: str, unit: str | None) -> None:
    """Promise: each way a driver gives a measured value is understood exactly, unit and all."""
    assert _read(words, kind) == (value, unit)


@pytest.mark.parametrize(
    ("words", "kind", "trouble"),
    [
        ("one ten psi", "pressure", Trouble.RUN_TOGETHER),
        ("twelve fifty kilopascals", "pressure", Trouble.RUN_TOGETHER),
        ("twenty twenty psi", "pressure", Trouble.RUN_TOGETHER),
        ("two fifty psi", "pressure", Trouble.RUN_TOGETHER),
        ("twenty two five psi", "pressure", Trouble.RUN_TOGETHER),
        ("one hundred one zero psi", "pressure", Trouble.RUN_TOGETHER),
        ("twenty hundred psi", "pressure", Trouble.RUN_TOGETHER),
        ("two point twenty five bar", "pressure", Trouble.RUN_TOGETHER),
        ("one hundred psi psi", "pressure", Trouble.RUN_TOGETHER),
        ("half a bar", "pressure", Trouble.RUN_TOGETHER),
        ("hundred twenty psi", "pressure", Trouble.LOST_START),
        ("point five bar", "pressure", Trouble.LOST_START),
        ("oh five psi", "pressure", Trouble.LOST_START),
        ("zero five psi", "pressure", Trouble.LEADING_ZERO),
        ("nine double seven psi", "pressure", Trouble.UNKNOWN_WORD),
        ("about one hundred psi", "pressure", Trouble.UNKNOWN_WORD),
        ("for psi", "pressure", Trouble.UNKNOWN_WORD),
        (".5 bar", "pressure", Trouble.UNKNOWN_WORD),
        ("1\u00bd bar", "pressure", Trouble.RUN_TOGETHER),
        ("1,250 kPa", "pressure", Trouble.RUN_TOGETHER),
        ("3-5 psi", "pressure", Trouble.RUN_TOGETHER),
        ("psi", "pressure", Trouble.NO_NUMBER),
        ("", "pressure", Trouble.NO_NUMBER),
        ("sixty seconds", "pressure", Trouble.WRONG_UNIT),
        ("sixty psi", "time", Trouble.WRONG_UNIT),
        ("three eighths psi", "pressure", Trouble.BAD_FRACTION),
        ("three eighths millimeters", "length", Trouble.BAD_FRACTION),
        ("thirty eighths of an inch", "length", Trouble.BAD_FRACTION),
        ("eight eighths of an inch", "length", Trouble.BAD_FRACTION),
        ("one seven eighths inches", "length", Trouble.BAD_FRACTION),
        ("three of an inch", "length", Trouble.BAD_FRACTION),
        ("five thirty seconds", "time", Trouble.RUN_TOGETHER),
        ("one minute ninety seconds", "time", Trouble.RUN_TOGETHER),
        ("one two three four five psi", "pressure", Trouble.TOO_LARGE),
        ("10000 kPa", "pressure", Trouble.TOO_LARGE),
        ("one point one two three four five six bar", "pressure", Trouble.TOO_FINE),
    ],
)
def test_what_could_be_another_number_is_refused(words: str, kind: str, trouble: Trouble) -> None:
    """Hazard: a guessed reading passes a brake test that failed. Doubtful forms are asked again."""
    refused = parse_reading(words, kind)
    assert isinstance(refused, NumberRefused), refused
    assert refused.trouble is trouble
    assert refused.reason.endswith(".")


_hundredths = st.integers(-999_999, 999_999).map(lambda n: Decimal(n) / 100)


@given(value=_hundredths, unit=st.sampled_from(["psi", "kPa", "bar"]))
def test_what_is_said_is_understood(value: Decimal, unit: str) -> None:
    """Promise: every value to two places, read back by the voice, means the same value."""
    reading = parse_reading(say_reading(value, unit), "pressure")
    assert isinstance(reading, Reading)
    assert (reading.value, reading.unit) == (value, unit)


def test_every_whole_number_is_understood_as_said() -> None:
    """Promise: no whole number from 0 to 9,999 is read back as another one."""
    for number in range(10_000):
        assert _read(say_number(Decimal(number)), "angle") == (str(number), None)


@pytest.mark.parametrize("whole", [0, 1, 3, 17, 100])
def test_every_fraction_of_an_inch_is_understood_as_said(whole: int) -> None:
    """Promise: play of a fifth wheel read back as a fraction is the same play."""
    for part in range(1, 32):
        value = whole + Decimal(part) / 32
        said = say_reading(value, "in", fraction=True)
        assert "point" not in said
        reading = parse_reading(said, "length")
        assert isinstance(reading, Reading)
        assert (reading.value, reading.unit) == (value, "in")
        assert read_back(reading) == said


def _plain(number: int) -> str:
    small = [
        *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven"),
        *("twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
    ]
    tens = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
    if number < 20:
        return small[number]
    if number < 100:
        return tens[number // 10 - 2] + (f" {small[number % 10]}" if number % 10 else "")
    unit, name = (100, "hundred") if number < 1000 else (1000, "thousand")
    rest = f" {_plain(number % unit)}" if number % unit else ""
    return f"{_plain(number // unit)} {name}{rest}"


def test_an_outside_reader_agrees_on_whole_numbers() -> None:
    """Promise: numbers said in full mean what an independent reader takes them for."""
    for number in range(10_000):
        words = _plain(number)
        assert text2num(words, "en") == number
        assert _read(words, "angle") == (str(number), None)


_ANY_WORDS = st.lists(
    st.sampled_from(sorted(number_words("angle") - {"degree", "degrees", "oh", "point", "decimal"})),
    max_size=6,
)


@given(words=_ANY_WORDS)
def test_an_outside_reader_never_contradicts(words: list[str]) -> None:
    """Promise: where both an outside reader and we answer on any heap of words, we answer alike."""
    ours = parse_reading(" ".join(words), "angle")
    try:
        theirs = text2num(" ".join(words), "en")
    except ValueError:
        return
    if isinstance(ours, Reading):
        assert ours.value == theirs


@pytest.mark.parametrize("kind", list(Kind))
def test_the_recognisers_grammar_is_understood(kind: Kind) -> None:
    """Promise: whatever a recogniser may put out under the number grammar is a reading."""
    rng = random.Random(7)
    for _ in range(3000):
        words = sample(kind, rng)
        assert isinstance(parse_reading(words, kind), Reading), words
        assert number_words(kind).issuperset(words.split())


@pytest.mark.parametrize("kind", list(Kind))
def test_the_grammar_text_names_only_its_own_rules(kind: Kind) -> None:
    """Promise: the grammar handed to a recogniser is whole, so that it loads in the yard."""
    text = jsgf(kind)
    defined = {line.split("=")[0].split("<")[1].split(">")[0] for line in text.splitlines()[2:]}
    used = {
        part.split(">")[0] for line in text.splitlines()[2:] for part in line.split("=")[1].split("<")[1:]
    }
    assert text.startswith("#JSGF V1.0;")
    assert used <= defined
    assert "public <reading>" in text


def test_numbers_that_cannot_be_said_raise() -> None:
    """Hazard: a value cut short in the read-back would be confirmed wrongly."""
    for value in (Decimal(10_000), Decimal("0.123456")):
        with pytest.raises(ValueError, match="outside"):
            say_number(value)


def test_an_unknown_language_is_named() -> None:
    """Promise: a missing language ends in a sentence, not a traceback."""
    with pytest.raises(InputError, match="no number grammar for language xx"):
        parse_reading("one", "angle", "xx")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("500", "five hundred"),
        ("4500", "four thousand five hundred"),
        ("900", "niner hundred"),
        ("75", "seven five"),
        ("583", "five eight three"),
        ("1850", "one eight five zero"),
        ("122.1", "one two two point one"),
        ("0.5", "zero point five"),
        ("-3", "minus three"),
    ],
)
def test_numbers_are_said_by_the_radio_rule(value: str, said: str) -> None:
    """FAA AIM 4-2-8 and 4-2-9: hundreds and thousands as such, else digit by digit; point; niner."""
    assert say_number(Decimal(value)) == said


@pytest.mark.parametrize(
    ("heard", "kind", "said"),
    [
        ("one hundred ten psi", "pressure", "one one zero p s i"),
        ("three eighths inch", "length", "three eighths of an inch"),
        ("one point eight seven five inches", "length", "one point eight seven five inches"),
        ("one bar", "pressure", "one bar"),
        ("forty five", "time", "four five"),
    ],
)
def test_a_reading_is_read_back_in_the_drivers_form(heard: str, kind: str, said: str) -> None:
    """Promise: the driver compares like with like, a fraction with a fraction, and hears the unit."""
    reading = parse_reading(heard, kind)
    assert isinstance(reading, Reading)
    assert read_back(reading) == said
