"""What two closed-set ears make of one sound, and the odds that a phrase was said.

The odds are a logistic regression over few plain figures, fitted on measured clips
(``python -m benchmarks.hearing --fit``); the weights stand with the limits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.ears.closed_set import Scored
from assistant.phrases.words import normalise

FILLERS = frozenset(
    ["the", "a", "it's", "yeah", "yes", "okay", "ok", "um", "uh", "er", "and", "so", "well", "oh", "i'm"]
)
"""What a driver, or noise, puts before a phrase without changing it (common practice, no source)."""
AROUND = 0.85  # seconds of a sound that hold no speech, about
A_LETTER = 0.07  # seconds, common practice, no source: speech much slower than that holds more words
ALONE = 20.0  # margin of a phrase that has no rival


@dataclass(frozen=True, slots=True)
class Evidence:
    """Raw findings: the ranking ear's phrases and free text, and how the other ear weighs both.

    ``ranked`` and ``weighed`` are sorted, leading phrase first; ``weighed`` holds the leading
    candidates. ``written_heard`` is the natural-log likelihood of ``written`` with its end,
    ``written_weighed`` that of the other ear without its end (0 when nothing was written); ``seconds``
    the length of the sound, with what is kept around the speech.
    """

    ranked: tuple[Scored, ...]
    weighed: tuple[Scored, ...]
    written: str
    written_heard: float
    written_weighed: float
    seconds: float

    @property
    def leading(self) -> str:
        """The ranking ear's leading phrase, "" when nothing is live."""
        return self.ranked[0].phrase if self.ranked else ""

    @property
    def second_leading(self) -> str:
        """The phrase that the weighing ear, hearing for itself, puts first."""
        return self.weighed[0].phrase if self.weighed else ""


def figures(found: Evidence, phrase: str, snr_db: float) -> Mapping[str, float]:
    """Return the figures that a phrase's odds are made of, each of the order of one.

    {} when one of the ears did not weigh it. Margins are over the best rival, and negative for a
    phrase that does not lead.
    """
    first = {one.phrase: one for one in found.ranked}
    second = {one.phrase: one for one in found.weighed}
    if phrase not in first or phrase not in second:
        return {}
    one, other = first[phrase], second[phrase]
    behind = found.written_weighed - other.heard if found.written else 0.0
    return {
        "first gain": one.gain / 10,
        "first margin": _within(one.gain - _rival(found.ranked, phrase), -ALONE, ALONE) / 10,
        "first a token": one.heard / one.tokens,
        "first behind written": _within(found.written_heard - one.heard - one.ends, -5, 30) / 10,
        "first ends": max(one.ends, -8.0) / 4,
        "second gain": other.gain / 10,
        "second margin": _within(other.gain - _rival(found.weighed, phrase), -ALONE, ALONE) / 10,
        "second a token": other.heard / other.tokens,
        "second behind written": _within(behind, -10, 30) / 10,
        "tokens": one.tokens / 8,
        "slowness": _within((found.seconds - AROUND) / len(one.text) / A_LETTER, 0.3, 4),
        "snr": _within(snr_db, 0, 30) / 10,
    }


def odds(found: Evidence, phrase: str, snr_db: float, weights: Mapping[str, float]) -> float:
    """Return the natural-log odds that ``phrase`` was said; minus infinity when it was not weighed."""
    told = figures(found, phrase, snr_db)
    if not told:
        return float("-inf")
    return weights["constant"] + sum(weights[name] * value for name, value in told.items())


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


def _rival(scored: tuple[Scored, ...], phrase: str) -> float:
    """Return the gain of the best other phrase; so low that nothing is near it when there is none."""
    return max((one.gain for one in scored if one.phrase != phrase), default=-1_000.0)


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
