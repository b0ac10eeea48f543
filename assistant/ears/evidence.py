"""What two closed-set ears make of one sound, and the odds that a phrase was said.

The odds are a logistic regression over few plain figures, fitted on measured clips
(``python -m benchmarks.hearing --fit``); the weights stand with the limits.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from assistant.ears.closed_set import FILLERS, Ranked, Weighed
from assistant.phrases.words import normalise


@dataclass(frozen=True, slots=True)
class Evidence:
    """Raw findings: the ranking ear's phrases and free text, and how the other ear weighs the leading ones.

    ``ranked`` and ``weighed`` are sorted, leading phrase first. The others are natural logarithms: ``contrary``
    by how much both ears together like a text that denies the leading one better than the leading one itself;
    ``around`` by how much each of them at least likes it better with words of the free text around it;
    ``elsewhere`` and ``second_elsewhere`` what hearing gains at most, in the ranking and in the weighing ear, for a
    text that does not count now. ``written_again`` is the free text of a second look, where there was one.
    """

    ranked: tuple[Ranked, ...]
    weighed: tuple[Weighed, ...]
    written: str
    contrary: float = 0.0
    around: float = -math.inf
    elsewhere: float = -math.inf
    second_elsewhere: float = -math.inf
    written_again: str = ""

    @property
    def leading(self) -> str:
        """The phrase for which hearing gains most in both ears together, "" when nothing is live.

        Each ear has its own mistakes in noise: where one of them puts another phrase first by a little, the sum
        is right more often than either.
        """
        return leader(self.ranked, self.weighed)

    @property
    def text(self) -> str:
        """The leading phrase as the ranking ear likes it best, "" when nothing is live."""
        return next((one.text for one in self.ranked if one.phrase == self.leading), "")

    @property
    def first_leading(self) -> str:
        """The phrase that the ranking ear puts first."""
        return self.ranked[0].phrase if self.ranked else ""

    @property
    def second_leading(self) -> str:
        """The phrase that the weighing ear, hearing for itself, puts first."""
        return self.weighed[0].phrase if self.weighed else ""

    @property
    def agreed(self) -> bool:
        """Whether both ears put the same phrase first."""
        return self.first_leading == self.second_leading

    @property
    def more_was_said(self) -> bool:
        """Whether more was written freely than the leading text, which was written too."""
        return any(more_was_said(written, self.text) for written in (self.written, self.written_again))

    @property
    def leading_gain(self) -> float:
        """What hearing gains for the leading phrase, in both ears together; minus infinity without one."""
        return sum(
            next((one.gain for one in scored if one.phrase == self.leading), -math.inf)
            for scored in (self.ranked, self.weighed)
        )


def leader(ranked: Sequence[Ranked], weighed: Sequence[Weighed]) -> str:
    """Return the phrase for which hearing gains most in both ears together, of those that both know; or ""."""
    second = {one.phrase: one.gain for one in weighed}
    both = [(one.gain + second[one.phrase], one.phrase) for one in ranked if one.phrase in second]
    return max(both)[1] if both else ""


def figures(found: Evidence, phrase: str) -> Mapping[str, float]:
    """Return the figures that a phrase's odds are made of, each of the order of one.

    {} when one of the ears did not weigh it. The gains say how well the phrase fits, the margins how much better
    than anything else that can be said in the run, now or elsewhere; the others tell a phrase from one with more
    said before, after or within.
    """
    one = next((one for one in found.ranked if one.phrase == phrase), None)
    other = next((one for one in found.weighed if one.phrase == phrase), None)
    if one is None or other is None:
        return {}
    rival = max((one.gain for one in found.ranked if one.phrase != phrase), default=-math.inf)
    second_rival = max((one.gain for one in found.weighed if one.phrase != phrase), default=-math.inf)
    return {
        "first gain": one.gain / 10,
        "first opens": max(one.opens, -10.0) / 4,
        "first closes": max(one.closes, -12.0) / 4,
        "first ends": max(one.ends, -8.0) / 4,
        "first margin": _within(one.gain - max(rival, found.elsewhere), -20, 20) / 10,
        "second gain": other.gain / 10,
        "second margin": _within(other.gain - max(second_rival, found.second_elsewhere), -20, 20) / 10,
        "second last": max(other.last, -8.0) / 4,
        "contrary": _within(found.contrary, -20, 10) / 10,
        "around": _within(found.around, -10, 10) / 10,
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

    Said over again it is still the same.
    """
    words, wanted = normalise(written).split(), normalise(text).split()
    for at in range(len(words) - len(wanted) + 1):
        if words[at : at + len(wanted)] == wanted:
            after = words[at + len(wanted) :]
            again = all(word == wanted[place % len(wanted)] for place, word in enumerate(after))
            return not again or len(words[:at]) > 1 or not set(words[:at]) <= FILLERS
    return False


FAR = 8.0
"""What only one look has among its leading phrases counts in the other as so far behind the first there, or as the last
one there: it was not among those near enough to be looked at."""
NEVER = -99.0

Kind = TypeVar("Kind", Ranked, Weighed)


def averaged(one: Evidence, other: Evidence) -> Evidence:
    """Return two looks at one sound as one: of each phrase and figure the mean.

    What is told of the leading text counts only of the looks in which that phrase leads, if it leads in any.
    """
    if not one.ranked or not other.ranked:
        return one if one.ranked else other
    ranked = _averaged(one.ranked, other.ranked, ("opens", "closes", "ends"))
    weighed = _averaged(one.weighed, other.weighed, ("last",))
    lead = leader(ranked, weighed)
    own = [look for look in (one, other) if look.leading == lead] or [one, other]
    return Evidence(
        ranked,
        weighed,
        one.written,
        contrary=_mean([look.contrary for look in own]),
        around=_mean([look.around for look in own]),
        elsewhere=_mean([one.elsewhere, other.elsewhere]),
        second_elsewhere=_mean([one.second_elsewhere, other.second_elsewhere]),
        written_again=other.written,
    )


def _averaged(one: Sequence[Kind], other: Sequence[Kind], names: Sequence[str]) -> tuple[Kind, ...]:
    """Return every phrase of two looks with its mean gain, leading phrase first; its text is that of the better."""
    looks = [{each.phrase: each for each in look} for look in (one, other)]
    least = [min(look[-1].gain, look[0].gain - FAR) for look in (one, other)]
    found = []
    for phrase in looks[0] | looks[1]:
        there = [look[phrase] for look in looks if phrase in look]
        best = max(there, key=lambda each: each.gain)
        gains = [look[phrase].gain if phrase in look else low for look, low in zip(looks, least, strict=True)]
        told: dict[str, Any] = {name: _mean([getattr(each, name) for each in there]) for name in names}
        found.append(replace(best, heard=best.heard + _mean(gains) - best.gain, **told))
    return tuple(sorted(found, key=lambda each: -each.gain))


def _mean(values: Sequence[float]) -> float:
    return sum(max(value, NEVER) for value in values) / len(values)


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
