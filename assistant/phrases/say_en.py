"""English numbers for the voice, by the radio rule (FAA AIM 4-2-8 and 4-2-9).

Digits one by one, round hundreds and thousands as such, "point" for the decimal mark, and "niner"
for nine, because nine and five are taken for each other in noise.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.phrases.number_types import MAX_PLACES, MAX_WHOLE
from assistant.phrases.numbers_en import DENOMINATORS, DIGITS, TEENS, TENS

_FIGURES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "niner")
_PLAIN = {value: word for word, value in reversed([*DIGITS.items(), *TEENS.items(), *TENS.items()])}
_UNITS = {
    "psi": ("p s i", "p s i"),
    "kPa": ("kilopascal", "kilopascals"),
    "bar": ("bar", "bar"),
    "in": ("inch", "inches"),
    "mm": ("millimeter", "millimeters"),
    "s": ("second", "seconds"),
    "min": ("minute", "minutes"),
    "deg": ("degree", "degrees"),
}
_PARTS = {2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty second"}
FRACTION_WORDS = frozenset(word for words in DENOMINATORS for word in words) - {"thirty"}


def say_number(value: Decimal) -> str:
    """Return the words for ``value``: 110 is "one one zero", 900 "niner hundred", 2.5 "two point five".

    Raises ValueError outside 0 to MAX_WHOLE either side of zero, or with too many decimal places.
    """
    sign = "minus " if value < 0 else ""
    whole, _, places = f"{abs(value).normalize():f}".partition(".")
    if int(whole) > MAX_WHOLE or len(places) > MAX_PLACES:
        raise ValueError(f"{value} is outside the numbers that can be said")
    return sign + _whole(int(whole)) + ("" if not places else " point " + _figures(places))


def say_quantity(value: Decimal, unit: str | None, fraction: bool) -> str:
    """Return the words for a reading; inches as a fraction when ``fraction`` and it is an exact one."""
    if unit is None:
        return say_number(value)
    one, many = _UNITS[unit]
    if fraction and unit == "in" and value % 1 and not (value * 32) % 1:
        return _fraction_of_an_inch(value)
    return f"{say_number(value)} {one if abs(value) == 1 else many}"


def _whole(whole: int) -> str:
    if whole < 100 or whole % 100:
        return _figures(str(whole))
    thousands, hundreds = divmod(whole // 100, 10)
    parts = [f"{_FIGURES[thousands]} thousand"] if thousands else []
    parts += [f"{_FIGURES[hundreds]} hundred"] if hundreds else []
    return " ".join(parts)


def _figures(text: str) -> str:
    return " ".join(_FIGURES[int(figure)] for figure in text)


def _fraction_of_an_inch(value: Decimal) -> str:
    sign, value = ("minus " if value < 0 else ""), abs(value)
    over, under = (value % 1).as_integer_ratio()
    part = f"{_below_hundred(over)} {_PARTS[under]}{'s' if over > 1 else ''}"
    if value < 1:
        return f"{sign}{part} of an inch"
    return f"{sign}{_whole(int(value))} and {part} inches"


def _below_hundred(value: int) -> str:
    if value in _PLAIN:
        return _PLAIN[value]
    return f"{_PLAIN[value - value % 10]} {_PLAIN[value % 10]}"
