"""Korean spoken numbers: understood, said, and listed for a recogniser.

Sino-Korean only. Whole ("백십", "천이백오십", also "일백이십"), digit by digit ("일 일 공"), "점" with
digits one by one, "마이너스", units. The radio digits 하나, 둘, 넷, 여섯, 아홉 count as digits and are
what the voice says, because 일 and 이, 삼 and 사, 육 and 구 are taken for each other in noise (radio
practice in Korea, from memory). Spaces carry no meaning: recognisers and people put them anywhere.

"백" without a count is a hundred, as everybody says it, so a lost "이" before it cannot be noticed
here; the read-back digit by digit is what guards it. Refused on purpose: digits beside tens or
hundreds ("백 일 공"), a missing start ("점 오", "공 오"), a radio digit inside a whole number
("하나백"), tens after the point, fractions and native counting ("스물"). Each could be another number
with a syllable lost.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal

from assistant.phrases.live import Reading
from assistant.phrases.number_types import MAX_PLACES, MAX_WHOLE, UNITS, Kind, NumberRefused, Rng, Trouble

FIGURES = {"일": 1, "이": 2, "삼": 3, "사": 4, "오": 5, "육": 6, "륙": 6, "칠": 7, "팔": 8, "구": 9}
DIGITS = FIGURES | {"영": 0, "공": 0, "하나": 1, "둘": 2, "넷": 4, "여섯": 6, "아홉": 9}
SCALES = {"천": 1000, "백": 100, "십": 10}
SPOKEN_UNITS = {
    "피에스아이": "psi", "킬로파스칼": "kPa", "바": "bar", "인치": "in", "밀리미터": "mm", "밀리": "mm",
    "초": "s", "분": "min", "도": "deg",
}  # fmt: skip
WRITTEN_UNITS = {"psi": "psi", "kpa": "kPa", "bar": "bar", "in": "in", "mm": "mm", "s": "s", "sec": "s",
                 "min": "min", "deg": "deg"}  # fmt: skip
_UNITS = SPOKEN_UNITS | WRITTEN_UNITS
_PIECES = {"킬로파스칼": ("킬로", "파스칼")}  # as recognisers write it: two words
_HALVES = frozenset(piece for pieces in _PIECES.values() for piece in pieces)
_MARK, _MINUS = "점", ("마이너스", "minus")
_DECIMAL = re.compile(r"[0-9]+(\.[0-9]+)?")
_TOKEN = re.compile(
    "|".join(sorted((*DIGITS, *SCALES, *_UNITS, _MARK, *_MINUS), key=len, reverse=True)) + f"|{_DECIMAL.pattern}"
)
_SAID = ("공", "하나", "둘", "삼", "넷", "오", "여섯", "칠", "팔", "아홉")
_SAID_UNITS = {unit: said for said, unit in reversed(SPOKEN_UNITS.items())}

Tokens = tuple[str, ...]


class _Refuse(Exception):
    def __init__(self, trouble: Trouble, reason: str) -> None:
        self.verdict = NumberRefused(trouble, reason)


def parse(words: str, kind: Kind) -> Reading | NumberRefused:
    """Return the reading that normalised ``words`` are, or why they are none."""
    try:
        value, unit = _time(words) if kind is Kind.TIME else _quantity(words, kind)
    except _Refuse as refused:
        return refused.verdict
    return Reading(value, unit, words)


def is_number_word(word: str) -> bool:
    """Return whether the word is made of nothing but syllables or numerals of this grammar."""
    return word in _HALVES or _tokens(word) is not None


def say_number(value: Decimal) -> str:
    """Return the words for ``value`` digit by digit: 110 is "하나 하나 공", 2.5 "둘 점 오".

    Raises ValueError outside 0 to MAX_WHOLE either side of zero, or with too many decimal places.
    """
    sign = "마이너스 " if value < 0 else ""
    whole, _, places = f"{abs(value).normalize():f}".partition(".")
    if int(whole) > MAX_WHOLE or len(places) > MAX_PLACES:
        raise ValueError(f"{value} is outside the numbers that can be said")
    return sign + _figures(whole) + ("" if not places else f" {_MARK} {_figures(places)}")


def say_quantity(value: Decimal, unit: str | None, fraction: bool) -> str:
    """Return the words for a reading; always with the point, never as a fraction."""
    del fraction
    return say_number(value) if unit is None else f"{say_number(value)} {_SAID_UNITS[unit]}"


def number_words(kind: Kind) -> frozenset[str]:
    """Return every word that a recogniser needs for a reading of the kind."""
    units = [said for said, unit in SPOKEN_UNITS.items() if unit in UNITS[kind]]
    pieces = [piece for said in units for piece in _PIECES.get(said, (said,))]
    return frozenset([*DIGITS, *SCALES, _MARK, _MINUS[0], *pieces])


def jsgf(kind: Kind) -> str:
    """Return the number grammar in JSpeech Grammar Format 1.0; its public rule is <reading>."""
    units = " | ".join(
        " ".join(_PIECES.get(said, (said,))) for said, unit in SPOKEN_UNITS.items() if unit in UNITS[kind]
    )
    first, digit = " | ".join(FIGURES), " | ".join(DIGITS)
    return (
        f"#JSGF V1.0;\ngrammar {kind};\n"
        "public <reading> = <number> <unit>;\n"
        f"<number> = [{_MINUS[0]}] (<whole> | <digits>) [{_MARK} <digit> [<digit>]];\n"
        "<digits> = <lead> <digit> [<digit>];\n"
        "<whole> = [[<first>] 백] [[<first>] 십] <first> | [[<first>] 백] [<first>] 십 | [<first>] 백;\n"
        f"<lead> = {' | '.join(word for word, value in DIGITS.items() if value)};\n"
        f"<first> = {first};\n<digit> = {digit};\n<unit> = {units};\n"
    )


def sample(kind: Kind, rng: Rng) -> str:
    """Return one spoken reading of the kind, drawn with the caller's random numbers."""
    units = [said for said, unit in SPOKEN_UNITS.items() if unit in UNITS[kind]]
    unit = units[int(rng.random() * len(units))]
    number = 1 + int(rng.random() * 999)
    said = _figures(str(number)) if rng.random() < 0.5 else say_whole(number)
    places = f" {_MARK} {_figures(str(int(rng.random() * 10)))}" if rng.random() < 0.3 else ""
    return f"{said}{places} {' '.join(_PIECES.get(unit, (unit,)))}"


def say_whole(number: int) -> str:
    """Return 1 to 9,999 the way people say it in full: 1250 is "천이백오십"."""
    names, said = list(FIGURES), ""
    digits = {value: name for name, value in reversed([(name, FIGURES[name]) for name in names])}
    for scale, size in SCALES.items():
        count, number = divmod(number, size)
        said += ("" if count == 1 else digits[count]) + scale if count else ""
    return said + (digits[number] if number else "")


def _figures(text: str) -> str:
    return " ".join(_SAID[int(figure)] for figure in text)


def _tokens(text: str) -> Tokens | None:
    """Cut text into the words of the grammar, spaces or not; None when something else is in it."""
    found: list[str] = []
    for word in _joined(text):
        at = 0
        while at < len(word):
            token = _TOKEN.match(word, at)
            if token is None:
                return None
            found.append(token[0])
            at = token.end()
    return tuple(found)


def _joined(text: str) -> Iterator[str]:
    """Yield runs of letters with spaces taken out, numerals apart, so that "1 10" stays two numbers."""
    for part in re.split(r"\s*(?<![0-9.])(?=[0-9])|(?<=[0-9])\s+", text):
        if part:
            yield part.replace(" ", "")


def _time(words: str) -> tuple[Decimal, str | None]:
    """Read "일 분 이십 초" as seconds; any other time as a plain quantity."""
    minutes, mark, rest = "".join(_joined(words)).partition("분")
    if not mark or not rest:
        return _quantity(words, Kind.TIME)
    whole, _ = _quantity(minutes + mark, Kind.TIME)
    seconds, unit = _quantity(rest, Kind.TIME)
    if unit != "s" or not 0 <= seconds < 60 or whole < 0 or whole != int(whole):
        raise _Refuse(Trouble.RUN_TOGETHER, "Say whole minutes and then less than sixty seconds.")
    return whole * 60 + seconds, "s"


def _quantity(words: str, kind: Kind) -> tuple[Decimal, str | None]:
    tokens = _tokens(words)
    if tokens is None:
        raise _Refuse(Trouble.UNKNOWN_WORD, f'"{words}" holds more than a number; say only the number.')
    negative = bool(tokens) and tokens[0] in _MINUS
    tokens = tokens[1:] if negative else tokens
    unit = _UNITS.get(tokens[-1]) if tokens else None
    tokens = tokens if unit is None else tokens[:-1]
    if not tokens:
        raise _Refuse(Trouble.NO_NUMBER, "No number was heard; say the number, then its unit.")
    if unit is not None and unit not in UNITS[kind]:
        raise _Refuse(Trouble.WRONG_UNIT, f"A {kind} is due, and {unit} is no unit of it; say it again.")
    value = _value(tokens)
    if value >= MAX_WHOLE + 1:
        raise _Refuse(Trouble.TOO_LARGE, f"The number is above {MAX_WHOLE}; say it again.")
    return (-value if negative else value), unit


def _value(tokens: Tokens) -> Decimal:
    if len(tokens) == 1 and _DECIMAL.fullmatch(tokens[0]):
        if len(tokens[0].partition(".")[2]) > MAX_PLACES:
            raise _Refuse(Trouble.TOO_FINE, f"At most {MAX_PLACES} digits may follow the point.")
        return Decimal(tokens[0])
    if _MARK not in tokens:
        return Decimal(_integer(tokens))
    cut = tokens.index(_MARK)
    places = [DIGITS.get(token) for token in tokens[cut + 1 :]]
    if cut == 0:
        raise _Refuse(Trouble.LOST_START, "A number before the point is missing; say it all again.")
    if not places or None in places:
        raise _Refuse(Trouble.RUN_TOGETHER, "After the point say the digits one by one.")
    if len(places) > MAX_PLACES:
        raise _Refuse(Trouble.TOO_FINE, f"At most {MAX_PLACES} digits may follow the point.")
    return Decimal(f"{_integer(tokens[:cut])}.{''.join(str(place) for place in places)}")


def _integer(tokens: Tokens) -> int:
    """Read a whole number, said in full or digit by digit."""
    if all(token in DIGITS for token in tokens):
        figures = "".join(str(DIGITS[token]) for token in tokens)
        if len(figures) > 1 and figures[0] == "0":
            raise _Refuse(Trouble.LEADING_ZERO, "The first digit may be cut off; say the number without it.")
        if len(figures) > len(str(MAX_WHOLE)):
            raise _Refuse(Trouble.TOO_LARGE, f"The number is above {MAX_WHOLE}; say it again.")
        return int(figures)
    value, left, count = 0, max(SCALES.values()) * 10, 0
    for token in tokens:
        if token in FIGURES and not count:
            count = FIGURES[token]
        elif SCALES.get(token, left) < left:
            left = SCALES[token]
            value, count = value + (count or 1) * left, 0
        else:
            raise _Refuse(Trouble.RUN_TOGETHER, "That could be more than one number; say it digit by digit.")
    return value + count
