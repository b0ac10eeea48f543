"""The odds that a phrase was said, from what two ears found; pure.

A logistic regression over few plain figures, fitted on measured clips (``python -m benchmarks.hearing --fit``); the
weights stand with the limits. And what the free text alone forbids.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from assistant.ears.evidence import Evidence
from assistant.phrases.words import normalise

SHORT = 2  # words
ENOUGH_GAIN = 8.0
"""A short phrase for which hearing gains so much in the weighing ear needs no more than a longer one; natural log."""

FILLERS = frozenset(
    ("the", "a", "it's", "yeah", "yes", "okay", "ok", "um", "uh", "er", "and", "so", "well", "oh", "i'm", "i", "i'll",
     "like")
)  # fmt: skip
"""What a driver, or noise, puts before a phrase without changing it (common practice, no source)."""
TAKES_BACK = frozenset({"no", "not"})
"""Behind a phrase they are never the beginning of the same phrase again ("nobody near the trailer … no")."""


def figures(found: Evidence, phrase: str) -> Mapping[str, float]:
    """Return the figures that a phrase's odds are made of, each of the order of one.

    {} when one of the ears did not weigh it. The gains say how well the phrase fits, the margins how much better
    than anything else that can be said in the run, now or elsewhere, "freely" how much better than what was written
    without minding what can be said. A short phrase comes near more of what people say: what its gain lacks counts
    anew. The others tell a phrase from one with more said before, after or within.
    """
    one = next((one for one in found.ranked if one.phrase == phrase), None)
    other = next((one for one in found.weighed if one.phrase == phrase), None)
    if one is None or other is None:
        return {}
    rival = max((one.gain for one in found.ranked if one.phrase != phrase), default=-math.inf)
    second_rival = max((one.gain for one in found.weighed if one.phrase != phrase), default=-math.inf)
    margin = _within(one.gain - max(rival, found.elsewhere), -20, 20) / 10
    second_margin = _within(other.gain - max(second_rival, found.second_elsewhere), -20, 20) / 10
    short, second_gain = len(one.text.split()) <= SHORT, _within(other.gain, -60, ENOUGH_GAIN)
    return {
        "short lacks": short * (ENOUGH_GAIN - second_gain) / 10,
        "first gain": _within(one.gain, -60, 5) / 10,
        "first opens": max(one.opens, -10.0) / 4,
        "first closes": max(one.closes, -12.0) / 4,
        "first ends": max(one.ends, -8.0) / 4,
        "first margin": margin,
        "second gain": second_gain / 10,
        "second margin": second_margin,
        "margin": min(margin, second_margin),
        "second last": max(other.last, -8.0) / 4,
        "contrary": _within(found.contrary, -20, 10) / 10,
        "first freely": _within(one.gain - found.freely, -20, 10) / 10,
        "second freely": _within(other.gain - found.second_freely, -20, 10) / 10,
    }


def odds(found: Evidence, phrase: str, weights: Mapping[str, float]) -> float:
    """Return the natural-log odds that ``phrase`` was said; minus infinity when it was not weighed.

    No number (NaN) when any score is none, which neither reaches a limit nor stays below it. ``weights`` are those of
    the figures that count, and the constant.
    """
    told = figures(found, phrase)
    gains = [one.gain for one in (*found.ranked, *found.weighed)]
    beside = [found.contrary, found.elsewhere, found.second_elsewhere, found.freely, found.second_freely]
    if not told:
        return -math.inf
    if any(map(math.isnan, [*gains, *beside])):  # the figures may have lost it: max and min pass over it
        return math.nan
    return weights["constant"] + sum(weight * told[name] for name, weight in weights.items() if name != "constant")


def more_was_said(written: str, text: str) -> bool:
    """Whether free writing holds the whole of a text and more: then the text is no answer.

    Fillers before it or within are nothing more, nor is the same over again: in noise the ear that writes goes round
    in circles, and breaks off in the third round. What follows the first round alone is more, were it only a filler or
    the phrase begun anew: "parking brake is set, uh …" may go on with "no".
    """
    words, wanted = normalise(written).split(), normalise(text).split()
    for at in range(len(words) if wanted else 0):
        end = _once(words, at, wanted)
        if end is not None:
            return not set(words[:at]) <= FILLERS or not _again(words[end:], wanted)
    return False


def _once(words: Sequence[str], at: int, wanted: Sequence[str]) -> int | None:
    """Return where the wanted words end that begin at a place, fillers left out; None when they are not there."""
    place = 0
    for end in range(at, len(words)):
        if words[end] == wanted[place]:
            place += 1
            if place == len(wanted):
                return end + 1
        elif words[end] not in FILLERS:
            return None
    return None


def _again(words: Sequence[str], wanted: Sequence[str]) -> bool:
    """Whether the words are those wanted, over and over; from the second time on they may be broken off."""
    at, rounds = 0, 0
    while (end := _once(words, at, wanted)) is not None:
        at, rounds = end, rounds + 1
    rest = words[at:]
    if rounds == 0 or not rest:
        return not rest
    return rest[-1] not in TAKES_BACK and " ".join(wanted).startswith(" ".join(rest))


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
