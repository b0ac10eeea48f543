"""Text for the eye turned into text for the ear.

The screen shows "Air at least 100 psi"; the voice says "Air at least one hundred p s i". Numbers
follow the radio rule of the number grammar (FAA AIM 4-2-8, 4-2-9), so that what the driver hears has
the form in which the driver should answer. Anything a synthesiser could take for mark-up or control
is refused rather than cleaned: a prompt file has no business holding it.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal

from assistant.errors import InputError
from assistant.phrases.numbers import say_number, say_reading

LONGEST = 600
"""Most characters of one spoken line: about 40 s, more than anyone keeps in mind."""

_MARKUP = re.compile(r"[<>{}\\|`]|\[\[|\]\]|&\w+;")
_UNITS = r"psi|kPa|bar|mm|in|min|deg|s|°"
_ALONE = {
    "en": {
        "psi": "p s i",
        "kPa": "kilopascals",
        "mm": "millimeters",
        "km/h": "kilometers an hour",
        "mph": "miles an hour",
        "%": " percent",
        "&": " and ",
    },
    "ko": {
        "psi": "피에스아이",
        "kPa": "킬로파스칼",
        "bar": "바",
        "mm": "밀리미터",
        "km/h": "시속 킬로미터",
        "%": " 퍼센트",
        "s": "초",
        "min": "분",
        "°": "도",
    },
}
_RANGE = {"en": " to ", "ko": "에서 "}
_SIGNALS = {
    "en": {"danger": "Danger", "warning": "Warning", "caution": "Caution", "notice": "Notice"},
    "ko": {"danger": "위험", "warning": "경고", "caution": "주의", "notice": "알림"},
}
# "13 in" is a length at the end of a clause or before the words that follow a length; "1 in 13" is not.
_QUANTITY = re.compile(
    r"(?<![\w.,/])(?P<sign>[-−](?=\d))?(?P<whole>\d{1,3}(?:,\d{3})+|\d+)"  # noqa: RUF001 - minus sign
    r"(?:(?P<places>\.\d+)|(?:\s(?P<over>\d{1,2})/(?P<under>2|4|8|16|32)))?"
    rf"(?:\s?(?P<unit>{_UNITS})(?![\w/]))?(?![\w/])"
)
_FRACTION = re.compile(r"(?<![\w.,/])(?<!\d\s)(?P<over>\d{1,2})/(?P<under>2|4|8|16|32) in(?![\w/])")
_AFTER_INCHES = re.compile(r"\s*(?:$|[^\w\s]|(?:of|or|and|to|above|below|over|under|from|off|high|long)\b)")


def unspeakable(text: str) -> str:
    """Return why ``text`` may not go to a synthesiser, as one sentence, or "" when it may."""
    if len(text) > LONGEST:
        return f"A spoken line has {len(text)} characters; say it in lines of at most {LONGEST}."
    strange = [char for char in text if unicodedata.category(char)[0] == "C"]
    if strange:
        name = unicodedata.name(strange[0], f"code {ord(strange[0])}")
        return f"A spoken line holds a control character ({name}); remove it from the word file."
    if found := _MARKUP.search(text):
        return f"A spoken line holds mark-up ({found.group()}); write it as plain words."
    if not any(char.isalnum() for char in text):
        return "A spoken line holds no word."
    return ""


def signal_word(signal: str, lang: str) -> str:
    """Return the spoken signal word (danger, warning, caution, notice) of a language."""
    words = _SIGNALS.get(lang, _SIGNALS["en"])
    try:
        return words[signal.lower()]
    except KeyError:
        raise InputError(f"{signal} is no signal word; there is: {', '.join(words)}.") from None


def with_signal(signal: str, text: str, lang: str = "en") -> str:
    """Return ``text`` led by its signal word, once: "Danger. Nobody between the units"."""
    word = signal_word(signal, lang)
    bare = text.lstrip()
    if bare.casefold().startswith(word.casefold()):
        bare = bare[len(word) :].lstrip(" .:,!-–—")  # noqa: RUF001 - dashes as writers type them
    return f"{word}. {bare}" if bare else f"{word}."


def for_ear(text: str, lang: str = "en") -> str:
    """Return ``text`` as it should be spoken; whitespace, line ends included, becomes one space."""
    text = " ".join(text.split())
    text = re.sub(r"(?<=\d)\s?[-–](?=\d)", _RANGE.get(lang, " - "), text)  # noqa: RUF001 - en dash
    text = _FRACTION.sub(lambda found: _fraction(found, lang), text)
    text = _QUANTITY.sub(lambda found: _quantity(found, lang), text)
    for short, spoken in sorted(_ALONE.get(lang, {}).items(), key=lambda pair: -len(pair[0])):
        pattern = re.escape(short)
        if short[0].isalpha():
            pattern = rf"(?<![A-Za-z]){pattern}(?![A-Za-z/])"
        text = re.sub(rf"\s?{pattern}" if spoken.startswith(" ") else pattern, spoken, text)
    return " ".join(text.split())


def _fraction(found: re.Match[str], lang: str) -> str:
    value = Decimal(found["over"]) / Decimal(found["under"])
    return _say(value, "in", lang, fraction=True) or found.group()


def _quantity(found: re.Match[str], lang: str) -> str:
    unit: str | None = found["unit"]
    rest = ""
    if unit == "in" and not _AFTER_INCHES.match(found.string, found.end()):
        unit, rest = None, " in"
    value = Decimal(found["whole"].replace(",", "") + (found["places"] or ""))
    if found["over"]:
        value += Decimal(found["over"]) / Decimal(found["under"])
    if found["sign"]:
        value = -value
    unit = "deg" if unit == "°" else unit
    said = _say(value, unit, lang, fraction=bool(found["over"]))
    return said + rest if said else found.group()


def _say(value: Decimal, unit: str | None, lang: str, *, fraction: bool) -> str:
    """Return the words of the number grammar, "" where it has none for the language or the size."""
    try:
        if unit is None:
            return say_number(value, lang)
        return say_reading(value, unit, lang, fraction=fraction)
    except (InputError, ValueError):
        return ""
