"""The rule between the ears: from what they found in a sound to an answer, or a refusal with its reason; pure.

The mistakes of the two differ, so what both together take for a phrase is worth far more than what
either does alone. An answer needs both to put the same phrase first, a critical one surely. An
emergency needs one. Everything else is refused with a reason; nothing is guessed.
"""

from __future__ import annotations

from dataclasses import dataclass

from assistant.ears.audio import Levels
from assistant.ears.base import Verdict
from assistant.ears.closed_set import reading_of
from assistant.ears.evidence import Evidence
from assistant.ears.limits import Limits
from assistant.ears.live_words import NUMBER
from assistant.ears.odds import more_was_said, odds
from assistant.phrases.live import Live, Reading, Role, Unheard
from assistant.phrases.match import match
from assistant.phrases.words import normalise


@dataclass(frozen=True, slots=True)
class Outcome:
    """Exactly one of ``phrase``, ``reading`` and ``unheard`` is set; ``words`` are what was taken or written.

    ``doubted``: it is refused for being unlikely or because the ears differ, not for what was said.
    """

    words: str
    phrase: str | None = None
    reading: Reading | None = None
    unheard: Unheard | None = None
    who: Role = Role.DRIVER
    doubted: bool = False


def decide(
    found: Evidence,
    third: Verdict | None,
    live: Live,
    limits: Limits,
    levels: Levels,
    *,
    damaged: bool = False,
) -> Outcome:
    """Apply the rule to what the ears found; pure."""
    if (stop := _emergency(found, third, live, limits)) is not None:
        return stop
    words = normalise(found.written)
    if damaged:
        return Outcome(words, unheard=Unheard.DAMAGED)
    if levels.clipped > limits.clipped:
        return Outcome(words, unheard=Unheard.CLIPPED)
    answer = _answer(found, third, live, limits)
    # What the ears only doubt in loud noise is put down to the noise: saying it again from there would not help.
    least = limits.loud_db if answer.doubted else limits.snr_db
    return Outcome(words, unheard=Unheard.TOO_LOUD) if levels.snr_db < least else answer


def _emergency(found: Evidence, third: Verdict | None, live: Live, limits: Limits) -> Outcome | None:
    """Return the emergency that any ear heard: one is enough, in any noise, and with scores that are broken."""
    if third is not None and third.phrase in live.emergency:
        return Outcome(third.words, phrase=third.phrase)
    for phrase in sorted(live.emergency & {found.leading, found.second_leading}):
        if not odds(found, phrase, limits.stop_weights) < limits.emergency:
            return _accepted(found, phrase, live)
    return None


def _answer(found: Evidence, third: Verdict | None, live: Live, limits: Limits) -> Outcome:
    phrase, words = found.leading, normalise(found.written)
    likely = odds(found, phrase, limits.weights)
    if phrase.startswith(NUMBER):
        return _reading(found, live, likely >= limits.reading)
    if found.counts_elsewhere or found.contrary >= limits.contrary or more_was_said(words, found.text):
        return Outcome(words, unheard=Unheard.NOT_A_PHRASE)
    if phrase in live.emergency or not likely >= limits.answer or not words:  # a sound of which nothing can be written
        return Outcome(words, unheard=Unheard.NOT_A_PHRASE, doubted=True)
    if not found.agreed or (third is not None and third.phrase not in {"", phrase}):
        return Outcome(words, unheard=Unheard.EARS_DISAGREE, doubted=True)
    if phrase in live.critical and likely < limits.critical:
        return Outcome(words, unheard=Unheard.UNSURE, doubted=True)
    return _accepted(found, phrase, live)


def _accepted(found: Evidence, phrase: str, live: Live) -> Outcome:
    text = normalise(next(one.text for one in found.ranked if one.phrase == phrase))
    return Outcome(text, phrase=phrase, who=match(text, live).who)


def _reading(found: Evidence, live: Live, likely: bool) -> Outcome:
    """Take the leading reading, if it is likely and both ears put it first.

    It never counts as it was heard: it is read back digit by digit, and confirmed as a critical answer.
    """
    if not likely:
        return Outcome(normalise(found.written), unheard=Unheard.BAD_NUMBER, doubted=True)
    if not found.agreed:
        return Outcome(normalise(found.written), unheard=Unheard.EARS_DISAGREE, doubted=True)
    reading = reading_of(found.text, live)
    if reading is None:
        return Outcome(normalise(found.written), unheard=Unheard.BAD_NUMBER)
    return Outcome(reading.words, reading=reading, who=match(reading.words, live).who)
