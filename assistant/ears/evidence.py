"""What two closed-set ears make of one sound, and the odds that a phrase was said.

The odds are a logistic regression over few plain figures, fitted on measured clips
(``python -m benchmarks.hearing --fit``); the weights stand with the limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assistant.ears.closed_set import FILLERS, Ranked, Weighed
from assistant.phrases.words import normalise

SHORT = 2  # words


@dataclass(frozen=True, slots=True)
class Evidence:
    """Raw findings: the ranking ear's phrases and free text, and how the other ear weighs the leading ones.

    ``ranked`` and ``weighed`` are sorted, each ear's own first. The others are natural logarithms: ``contrary``
    by how much both ears together like a text that denies the leading one better than the leading one itself;
    ``elsewhere`` and ``second_elsewhere`` what hearing gains at most, in the ranking and in the weighing ear, for a
    text that does not count now; ``freely`` and ``second_freely`` what it gains for what was written freely.
    """

    ranked: tuple[Ranked, ...]
    weighed: tuple[Weighed, ...]
    written: str
    contrary: float = 0.0
    elsewhere: float = -math.inf
    second_elsewhere: float = -math.inf
    freely: float = -math.inf
    second_freely: float = -math.inf

    @property
    def leading(self) -> str:
        """The ranking ear's leading phrase, "" when nothing is live."""
        return self.ranked[0].phrase if self.ranked else ""

    @property
    def second_leading(self) -> str:
        """The phrase that the weighing ear, hearing for itself, puts first."""
        return self.weighed[0].phrase if self.weighed else ""

    @property
    def text(self) -> str:
        """The leading phrase as the ranking ear likes it best, "" when nothing is live."""
        return self.ranked[0].text if self.ranked else ""

    @property
    def agreed(self) -> bool:
        """Whether both ears put the same phrase first."""
        return self.leading == self.second_leading

    @property
    def counts_elsewhere(self) -> bool:
        """Whether both ears gain more for something that does not count now than for the leading phrase."""
        other = next((one.gain for one in self.weighed if one.phrase == self.leading), -math.inf)
        return bool(self.ranked) and self.elsewhere > self.ranked[0].gain and self.second_elsewhere > other

    @property
    def more_was_said(self) -> bool:
        """Whether more was written freely than the leading text, which was written too."""
        return more_was_said(self.written, self.text)


def figures(found: Evidence, phrase: str) -> Mapping[str, float]:
    """Return the figures that a phrase's odds are made of, each of the order of one.

    {} when one of the ears did not weigh it. The gains say how well the phrase fits, the margins how much better
    than anything else that can be said in the run, now or elsewhere, "freely" how much better than what was written
    without minding what can be said. A short phrase comes near more of what people say, so its gain and margin count
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
    short, second_gain = float(len(one.text.split()) <= SHORT), min(other.gain, 8.0) / 10
    return {
        "short": short,
        "short gain": short * second_gain,
        "short margin": short * min(margin, second_margin),
        "first gain": min(one.gain, 5.0) / 10,
        "first opens": max(one.opens, -10.0) / 4,
        "first closes": max(one.closes, -12.0) / 4,
        "first ends": max(one.ends, -8.0) / 4,
        "first margin": margin,
        "second gain": second_gain,
        "second margin": second_margin,
        "margin": min(margin, second_margin),
        "second last": max(other.last, -8.0) / 4,
        "contrary": _within(found.contrary, -20, 10) / 10,
        "first freely": _within(one.gain - found.freely, -20, 10) / 10,
        "second freely": _within(other.gain - found.second_freely, -20, 10) / 10,
    }


def odds(found: Evidence, phrase: str, weights: Mapping[str, float]) -> float:
    """Return the natural-log odds that ``phrase`` was said; minus infinity when it was not weighed.

    ``weights`` are those of the figures that count, and the constant.
    """
    told = figures(found, phrase)
    if not told:
        return float("-inf")
    return weights["constant"] + sum(weight * told[name] for name, weight in weights.items() if name != "constant")


def more_was_said(written: str, text: str) -> bool:
    """Whether free writing holds the whole of a text and more that is no filler: then the text is no answer.

    Said over again, and broken off, it is still the same: in noise the ear that writes goes round in circles.
    """
    words, wanted = normalise(written).split(), normalise(text).split()
    for at in range(len(words) - len(wanted) + 1):
        if words[at : at + len(wanted)] == wanted:
            after = [word for word in words[at + len(wanted) :] if word in wanted or word not in FILLERS]
            return len(words[:at]) > 1 or not set(words[:at]) <= FILLERS or not _again(after, wanted)
    return False


def _again(words: Sequence[str], wanted: Sequence[str]) -> bool:
    """Whether the words are those wanted, over and over; the last one may be broken off."""
    pairs = [(word, wanted[place % len(wanted)]) for place, word in enumerate(words)]
    return all(word == due for word, due in pairs[:-1]) and all(due.startswith(word) for word, due in pairs[-1:])


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
