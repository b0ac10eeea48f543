"""The English number grammar as rules: for a recogniser's grammar and for sample sentences.

Everything the rules make is understood by ``numbers_en``. The weights favour the forms that drivers
use most (common practice, no source) and matter only to sampling and to a recogniser's prior.
"""

from __future__ import annotations

from assistant.phrases.number_types import UNITS, Kind, Rng
from assistant.phrases.numbers_en import DIGITS, SPOKEN_UNITS, TEENS, TENS

Rules = dict[str, list[tuple[float, str]]]
"""Rule name → alternatives (weight, words and <rules> separated by spaces)."""

_UNSAID = {"psi"}  # spoken letter by letter; the dictionary's "psi" is the Greek letter
_SMALL = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]


def _any(words: list[str]) -> list[tuple[float, str]]:
    return [(1.0, word) for word in words]


_NUMBER: Rules = {
    "signed": [(0.97, "<number>"), (0.03, "minus <number>")],
    "number": [(0.55, "<whole>"), (0.25, "<digits>"), (0.12, "<point>"), (0.08, "<whole> and a half")],
    "point": [
        (0.7, "<upto99> <mark> <places>"),
        (0.3, "<digits> <mark> <places>"),
        (0.02, "<hundreds> <mark> <places>"),
        (0.01, "<thousands> <mark> <places>"),
    ],
    "mark": [(0.8, "point"), (0.2, "decimal")],
    "places": [
        (0.6, "<digit>"),
        (0.25, "<digit> <digit>"),
        (0.15, "<digit> <digit> <digit>"),
        (0.02, "<digit> <digit> <digit> <digit>"),  # a sixteenth of an inch is 0.0625
        (0.01, "<digit> <digit> <digit> <digit> <digit>"),
    ],
    "whole": [(0.45, "<upto99>"), (0.47, "<hundreds>"), (0.08, "<thousands>")],
    "upto99": [(0.3, "<small>"), (0.25, "<teen>"), (0.15, "<tens>"), (0.3, "<tens> <first>")],
    "below": [(0.2, "<first>"), (0.25, "<teen>"), (0.25, "<tens>"), (0.3, "<tens> <first>")],
    "hundreds": [
        (0.3, "<count> hundred"),
        (0.45, "<count> hundred <below>"),
        (0.25, "<count> hundred and <below>"),
    ],
    "count": [(0.95, "<first>"), (0.05, "a")],
    "thousands": [
        (0.4, "<count> thousand"),
        (0.3, "<count> thousand <first> hundred"),
        (0.3, "<count> thousand <first> hundred <below>"),
    ],
    "digits": [
        (0.35, "<first> <digit>"),
        (0.55, "<first> <digit> <digit>"),
        (0.1, "<first> <digit> <digit> <digit>"),
    ],
    "digit": [(9.0, "<first>"), (0.7, "zero"), (0.3, "oh")],
    "small": [(0.1, "zero"), (0.9, "<first>")],
    "first": _any([word for word, value in DIGITS.items() if value]),
    "teen": _any(list(TEENS)),
    "tens": _any(list(TENS)),
}

_INCHES: Rules = {
    "fraction": [
        (0.3, "<part> of an inch"),
        (0.2, "<part> inch"),
        (0.2, "half an inch"),
        (0.3, "<upto99> and <part> inches"),
    ],
    "part": [
        (0.1, "a half"), (0.1, "one half"), (0.1, "a quarter"), (0.1, "<n4> quarters"),
        (0.25, "<n8> eighths"), (0.05, "one eighth"), (0.05, "an eighth"), (0.15, "<n16> sixteenths"),
        (0.05, "one sixteenth"), (0.1, "<n32> thirty seconds"),
    ],
    "n4": _any(["three"]),
    "n8": _any(_SMALL[2:8]),
    "n16": _any([*_SMALL[2:], *list(TEENS)[:6]]),
    "n32": _any([*_SMALL[2:], *TEENS, "twenty", *(f"twenty {n}" for n in _SMALL[1:]), "thirty"]),
}  # fmt: skip

_COMPOUND: Rules = {
    "compound": [
        (0.5, "one minute <upto59> seconds"),
        (0.4, "<first> minutes <upto59> seconds"),
        (0.1, "<first> minutes and <upto59> seconds"),
    ],
    "upto59": [(0.3, "<teen>"), (0.3, "<low-tens>"), (0.4, "<low-tens> <first>")],
    "low-tens": _any(["twenty", "thirty", "forty", "fifty"]),
}


def rules(kind: Kind) -> Rules:
    """Return the rules for readings of a kind; the start rule is "reading"."""
    units = [said for said, unit in SPOKEN_UNITS.items() if unit in UNITS[kind] and said not in _UNSAID]
    plain = [said for said in units if not said.endswith("an inch")]
    made: Rules = {**_NUMBER, "unit": _any(plain), "reading": [(1.0, "<signed> <unit>"), (0.05, "<signed>")]}
    if kind is Kind.LENGTH:
        made |= _INCHES
        made["reading"] = [*made["reading"], (1.0, "<fraction>")]
    if kind is Kind.TIME:
        made |= _COMPOUND
        made["reading"] = [*made["reading"], (0.3, "<compound>")]
    return made


def words(kind: Kind) -> frozenset[str]:
    """Return every word that a reading of the kind can hold."""
    return frozenset(
        word
        for alternatives in rules(kind).values()
        for _, text in alternatives
        for word in text.split()
        if not word.startswith("<")
    )


def jsgf(kind: Kind) -> str:
    """Return the grammar in JSpeech Grammar Format 1.0; its public rule is <reading>."""
    lines = ["#JSGF V1.0;", f"grammar {kind};"]
    for name, alternatives in rules(kind).items():
        total = sum(weight for weight, _ in alternatives)
        body = " | ".join(f"/{weight / total:.4f}/ {text}" for weight, text in alternatives)
        lines.append(f"{'public ' if name == 'reading' else ''}<{name}> = {body};")
    return "\n".join(lines) + "\n"


def sample(kind: Kind, rng: Rng) -> str:
    """Return one sentence of the grammar, drawn by weight."""
    return _expand("<reading>", rules(kind), rng)


def _expand(symbol: str, made: Rules, rng: Rng) -> str:
    if not symbol.startswith("<"):
        return symbol
    alternatives = made[symbol[1:-1]]
    mark = rng.random() * sum(weight for weight, _ in alternatives)
    text = alternatives[-1][1]
    for weight, candidate in alternatives:
        mark -= weight
        if mark < 0:
            text = candidate
            break
    return " ".join(_expand(part, made, rng) for part in text.split())
