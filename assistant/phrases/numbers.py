"""Spoken numbers: the one entrance for every language.

A reading is a number with a unit of the kind that is due. The grammars are closed: a form that is
not known, or that could mean two numbers, is refused with its reason and asked again; nothing is
guessed. Each language has modules of its own behind this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from assistant.errors import InputError
from assistant.phrases import number_grammar_en, numbers_en, numbers_ko, say_en
from assistant.phrases.live import Reading
from assistant.phrases.number_types import Kind, NumberRefused, Rng, Trouble
from assistant.phrases.words import normalise


@dataclass(frozen=True, slots=True)
class _Language:
    parse: Callable[[str, Kind], Reading | NumberRefused]
    is_number_word: Callable[[str], bool]
    say_number: Callable[[Decimal], str]
    say_quantity: Callable[[Decimal, str | None, bool], str]
    fraction_words: frozenset[str]
    number_words: Callable[[Kind], frozenset[str]]
    jsgf: Callable[[Kind], str]
    sample: Callable[[Kind, Rng], str]


_LANGUAGES = {
    "en": _Language(
        numbers_en.parse,
        numbers_en.is_number_word,
        say_en.say_number,
        say_en.say_quantity,
        say_en.FRACTION_WORDS,
        number_grammar_en.words,
        number_grammar_en.jsgf,
        number_grammar_en.sample,
    ),
    "ko": _Language(
        numbers_ko.parse,
        numbers_ko.is_number_word,
        numbers_ko.say_number,
        numbers_ko.say_quantity,
        frozenset(),
        numbers_ko.number_words,
        numbers_ko.jsgf,
        numbers_ko.sample,
    ),
}


def languages() -> tuple[str, ...]:
    """Return the languages with a number grammar."""
    return tuple(_LANGUAGES)


def parse_reading(words: str, kind: str, lang: str = "en") -> Reading | NumberRefused:
    """Return the reading that a whole utterance is, or why it is none.

    ``kind`` is one of ``Kind``. The value is exact; the unit is canonical, or None when none was
    said. Words in figures ("110 psi", "1 7/8 in") count as well, for typed lines.
    """
    text = normalise(words)
    if not text:
        return NumberRefused(Trouble.NO_NUMBER, "Nothing was said.")
    return _language(lang).parse(text, Kind(kind))


def is_number_talk(words: str, lang: str = "en") -> bool:
    """Return whether every word of normalised, non-empty ``words`` belongs to the number grammar."""
    return all(_language(lang).is_number_word(word) for word in words.split())


def say_number(value: Decimal, lang: str = "en") -> str:
    """Return ``value`` as words for the voice, digits one by one (FAA AIM 4-2-8, 4-2-9)."""
    return _language(lang).say_number(value)


def say_reading(value: Decimal, unit: str | None, lang: str = "en", *, fraction: bool = False) -> str:
    """Return value and unit as words; exact inches as a fraction when ``fraction`` is set."""
    return _language(lang).say_quantity(value, unit, fraction)


def read_back(reading: Reading, lang: str = "en") -> str:
    """Return the words that repeat a reading, as a fraction when it was said as one."""
    said = frozenset(normalise(reading.words).split())
    fraction = "/" in reading.words or bool(said & _language(lang).fraction_words)
    return say_reading(reading.value, reading.unit, lang, fraction=fraction)


def number_words(kind: str, lang: str = "en") -> frozenset[str]:
    """Return the vocabulary a recogniser needs while a reading of ``kind`` is due."""
    return _language(lang).number_words(Kind(kind))


def jsgf(kind: str, lang: str = "en") -> str:
    """Return the number grammar of ``kind`` in JSpeech Grammar Format; public rule <reading>."""
    return _language(lang).jsgf(Kind(kind))


def sample(kind: str, rng: Rng, lang: str = "en") -> str:
    """Return one spoken reading of ``kind`` drawn by weight, with the caller's random numbers."""
    return _language(lang).sample(Kind(kind), rng)


def _language(lang: str) -> _Language:
    if lang not in _LANGUAGES:
        there = ", ".join(_LANGUAGES)
        raise InputError(f"There is no number grammar for language {lang}; there is: {there}.")
    return _LANGUAGES[lang]
