"""English spoken numbers: understood and said.

Whole ("one hundred ten", "one hundred and ten", "twelve hundred"), digit by digit ("one one zero",
"oh" for zero after the first digit), "point" or "decimal" with digits one by one, "and a half",
fractions of an inch down to thirty-seconds, "minus", units. Radio digits ("niner", "tree", "fife",
"fower") are digits: FAA AIM 4-2-9. Saying follows AIM 4-2-8 and 4-2-9: digits one by one, round
hundreds and thousands as such, "point" for the decimal mark, "niner" for nine.

Refused on purpose: tens after a digit ("one ten", "twelve fifty"), two tens ("twenty twenty"), a
missing start ("hundred twenty", "point five", "zero five"), tens after the point, "double seven".
Each could be another number with a word lost. "pounds" counts as psi where a pressure is due, which
is how drivers say it (common practice, no source); the read-back says "p s i".
"""

from __future__ import annotations

import re
from decimal import Decimal

from assistant.phrases.live import Reading
from assistant.phrases.number_types import MAX_PLACES, MAX_WHOLE, UNITS, Kind, NumberRefused, Trouble

DIGITS = {
    "zero": 0, "one": 1, "two": 2, "three": 3, "tree": 3, "four": 4, "fower": 4, "five": 5, "fife": 5,
    "six": 6, "seven": 7, "eight": 8, "nine": 9, "niner": 9,
}  # fmt: skip
TEENS = {
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15,
    "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80,
    "ninety": 90,
}  # fmt: skip
DENOMINATORS = {
    ("half",): 2, ("quarter",): 4, ("quarters",): 4, ("eighth",): 8, ("eighths",): 8,
    ("sixteenth",): 16, ("sixteenths",): 16, ("thirty", "second"): 32, ("thirty", "seconds"): 32,
}  # fmt: skip
SPOKEN_UNITS = {
    "p s i": "psi", "psi": "psi", "pounds": "psi", "pounds per square inch": "psi",
    "kilopascal": "kPa", "kilopascals": "kPa", "k p a": "kPa", "bar": "bar", "bars": "bar",
    "inch": "in", "inches": "in", "of an inch": "in", "an inch": "in",
    "millimeter": "mm", "millimeters": "mm", "millimetre": "mm", "millimetres": "mm",
    "second": "s", "seconds": "s", "minute": "min", "minutes": "min",
    "degree": "deg", "degrees": "deg",
}  # fmt: skip
WRITTEN_UNITS = {"psi": "psi", "kpa": "kPa", "bar": "bar", "in": "in", "mm": "mm", "s": "s", "sec": "s",
                 "min": "min", "deg": "deg"}  # fmt: skip
_CONNECTORS = {"oh", "hundred", "thousand", "and", "a", "an", "of", "point", "decimal", "minus"}
WORDS = frozenset(
    [*DIGITS, *TEENS, *TENS, *_CONNECTORS]
    + [word for words in DENOMINATORS for word in words]
    + [word for unit in SPOKEN_UNITS for word in unit.split()]
)
_FIGURES = "0123456789"
_DECIMAL = re.compile(r"[0-9]+(\.[0-9]+)?")
_RATIO = re.compile(r"([0-9]+)/(2|4|8|16|32)")

Tokens = tuple[str, ...]


class _Refuse(Exception):
    def __init__(self, trouble: Trouble, reason: str) -> None:
        self.verdict = NumberRefused(trouble, reason)


def parse(words: str, kind: Kind) -> Reading | NumberRefused:
    """Return the reading that normalised ``words`` are, or why they are none."""
    tokens = tuple(words.split())
    try:
        value, unit = _compound_time(tokens) if kind is Kind.TIME else _quantity(tokens, kind)
    except _Refuse as refused:
        return refused.verdict
    return Reading(value, unit, words)


def is_number_word(token: str) -> bool:
    """Return whether this is a word or numeral of this grammar."""
    return token in WORDS or token in WRITTEN_UNITS or token[0] in _FIGURES


def _compound_time(tokens: Tokens) -> tuple[Decimal, str | None]:
    """Read "one minute twenty seconds" as seconds; any other time as a plain quantity."""
    cut = next((i for i, token in enumerate(tokens) if token in ("minute", "minutes")), None)
    if cut is None or cut == len(tokens) - 1:
        return _quantity(tokens, Kind.TIME)
    minutes, _ = _quantity(tokens[: cut + 1], Kind.TIME)
    rest = tokens[cut + 1 :]
    seconds, unit = _quantity(rest[1:] if rest[0] == "and" else rest, Kind.TIME)
    if unit != "s" or not 0 <= seconds < 60 or minutes < 0 or minutes != int(minutes):
        raise _Refuse(Trouble.RUN_TOGETHER, "Say whole minutes and then less than sixty seconds.")
    return minutes * 60 + seconds, "s"


def _quantity(tokens: Tokens, kind: Kind) -> tuple[Decimal, str | None]:
    negative = tokens[:1] == ("minus",)
    tokens, unit, tail = _split_unit(tokens[1:] if negative else tokens)
    if not tokens:
        raise _Refuse(Trouble.NO_NUMBER, "No number was heard; say the number, then its unit.")
    for token in tokens:
        if not is_number_word(token):
            raise _Refuse(Trouble.UNKNOWN_WORD, f'"{token}" is not part of a number; say only the number.')
    if unit is not None and unit not in UNITS[kind]:
        raise _Refuse(Trouble.WRONG_UNIT, f"A {kind} is due, and {unit} is no unit of it; say it again.")
    value, fraction = _value(tokens)
    if fraction and (kind is not Kind.LENGTH or unit == "mm") and fraction != 2:
        raise _Refuse(Trouble.BAD_FRACTION, "Fractions are for inches; say the number with point.")
    if (tail == "of an inch" and not fraction) or (tail == "an inch" and tokens != ("half",)):
        raise _Refuse(Trouble.BAD_FRACTION, f'"{tail}" belongs after a fraction; say the number and inches.')
    if value >= MAX_WHOLE + 1:
        raise _Refuse(Trouble.TOO_LARGE, f"The number is above {MAX_WHOLE}; say it again.")
    return (-value if negative else value), unit


def _split_unit(tokens: Tokens) -> tuple[Tokens, str | None, str]:
    """Return the number's tokens, the canonical unit or None, and the words the unit took."""
    table = SPOKEN_UNITS | WRITTEN_UNITS if tokens and tokens[0][0] in _FIGURES else SPOKEN_UNITS
    for name in sorted(table, key=len, reverse=True):
        tail = tuple(name.split())
        if tokens[-len(tail) :] == tail:
            return tokens[: -len(tail)], table[name], name
    return tokens, None, ""


def _value(tokens: Tokens) -> tuple[Decimal, int]:
    """Return the value and the denominator of its fraction (0 when it has none)."""
    if tokens[0][0] in _FIGURES:
        return _numeral(tokens)
    for mark in ("point", "decimal"):
        if mark in tokens:
            cut = tokens.index(mark)
            return _with_point(tokens[:cut], tokens[cut + 1 :]), 0
    for name, denominator in DENOMINATORS.items():
        if tokens[-len(name) :] == name:
            return _with_fraction(tokens[: -len(name)], denominator), denominator
    return Decimal(_integer(tokens)), 0


def _numeral(tokens: Tokens) -> tuple[Decimal, int]:
    """Read a typed number: "110", "2.5", "3/8", "1 7/8"."""
    ratio = _RATIO.fullmatch(tokens[-1])
    if len(tokens) == 1 and _DECIMAL.fullmatch(tokens[0]):
        if len(tokens[0].partition(".")[2]) > MAX_PLACES:
            raise _Refuse(Trouble.TOO_FINE, f"At most {MAX_PLACES} digits may follow the point.")
        return Decimal(tokens[0]), 0
    if ratio and (len(tokens) == 1 or (len(tokens) == 2 and _DECIMAL.fullmatch(tokens[0]))):
        over, under = int(ratio[1]), int(ratio[2])
        whole = Decimal(0) if len(tokens) == 1 else Decimal(tokens[0])
        return whole + _fraction(over, under), under
    raise _Refuse(Trouble.RUN_TOGETHER, "These figures are not one number; give one number and its unit.")


def _with_point(left: Tokens, right: Tokens) -> Decimal:
    if not left:
        raise _Refuse(Trouble.LOST_START, 'A number before "point" is missing; say zero point five.')
    places = [0 if word == "oh" else DIGITS.get(word) for word in right]
    if not places or None in places:
        raise _Refuse(Trouble.RUN_TOGETHER, 'After "point" say the digits one by one.')
    if len(places) > MAX_PLACES:
        raise _Refuse(Trouble.TOO_FINE, f"At most {MAX_PLACES} digits may follow the point.")
    return Decimal(f"{_integer(left)}.{''.join(str(place) for place in places)}")


def _with_fraction(left: Tokens, denominator: int) -> Decimal:
    whole, over = 0, left
    if "and" in left:
        cut = len(left) - 1 - left[::-1].index("and")
        whole, over = _integer(left[:cut]), left[cut + 1 :]
    if over in (("a",), ("an",)) or (not over and denominator == 2 and "and" not in left):
        return whole + _fraction(1, denominator)
    value = _below_hundred(over)
    if value is None:
        raise _Refuse(Trouble.BAD_FRACTION, "Say a fraction as three eighths, or one and three eighths.")
    return whole + _fraction(value, denominator)


def _fraction(over: int, under: int) -> Decimal:
    if not 0 < over < under:
        raise _Refuse(Trouble.BAD_FRACTION, f"{over} over {under} is no proper fraction; say it again.")
    return Decimal(over) / Decimal(under)


def _below_hundred(tokens: Tokens) -> int | None:
    """Return the value of one digit, a teen, or tens with or without a digit; None when it is none."""
    if len(tokens) == 1:
        word = tokens[0]
        return next((table[word] for table in (DIGITS, TEENS, TENS) if word in table), None)
    if len(tokens) == 2 and tokens[0] in TENS and DIGITS.get(tokens[1]):
        return TENS[tokens[0]] + DIGITS[tokens[1]]
    return None


def _integer(tokens: Tokens) -> int:
    """Read a whole number, said as one or digit by digit."""
    if not tokens:
        raise _Refuse(Trouble.NO_NUMBER, "A part of the number is missing; say it again.")
    if tokens[0] in ("hundred", "thousand", "oh"):
        raise _Refuse(Trouble.LOST_START, "The start of the number may be cut off; say it all again.")
    if all(word == "oh" or word in DIGITS for word in tokens):
        return _digit_string(tokens)
    value = _scaled(tokens)
    if value is None:
        raise _Refuse(
            Trouble.RUN_TOGETHER, "That could be more than one number; say it digit by digit, then the unit."
        )
    return value


def _digit_string(tokens: Tokens) -> int:
    figures = [0 if word == "oh" else DIGITS[word] for word in tokens]
    if len(figures) > 1 and figures[0] == 0:
        raise _Refuse(Trouble.LEADING_ZERO, "The first digit may be cut off; say the number without it.")
    if len(figures) > len(str(MAX_WHOLE)):
        raise _Refuse(Trouble.TOO_LARGE, f"The number is above {MAX_WHOLE}; say it again.")
    return int("".join(str(figure) for figure in figures))


def _scaled(tokens: Tokens) -> int | None:
    """Hundreds and thousands: "two thousand one hundred and ten", "twelve hundred"."""
    if "thousand" not in tokens:
        return _hundreds(tokens, upto=19)
    cut = tokens.index("thousand")
    thousands, rest = _multiplier(tokens[:cut], 9), tokens[cut + 1 :]
    if not rest:
        return thousands and thousands * 1000
    below = _hundreds(rest[1:] if rest[0] == "and" else rest, upto=9)
    return thousands * 1000 + below if thousands and below else None


def _hundreds(tokens: Tokens, *, upto: int) -> int | None:
    if "hundred" not in tokens:
        return _below_hundred(tokens)
    cut = tokens.index("hundred")
    hundreds, rest = _multiplier(tokens[:cut], upto), tokens[cut + 1 :]
    if not rest:
        return hundreds and hundreds * 100
    below = _below_hundred(rest[1:] if rest[0] == "and" else rest)
    return hundreds * 100 + below if hundreds and below else None


def _multiplier(tokens: Tokens, upto: int) -> int | None:
    """How many hundreds or thousands: 1 to ``upto``, but not ten, which nobody counts by."""
    value = 1 if tokens == ("a",) else _below_hundred(tokens)
    return value if value is not None and 0 < value <= upto and value != 10 else None
