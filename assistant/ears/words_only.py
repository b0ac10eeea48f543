"""One ear alone: a streaming recogniser with decoys, where the closed-set pair cannot be had.

Safer to refuse than to believe: with one ear no critical answer is ever taken, only said on the
screen's pads; the driver is told so when the ears open.
"""

from __future__ import annotations

from dataclasses import replace

from assistant.ears.audio import Levels
from assistant.ears.base import Recogniser, Verdict
from assistant.ears.fusion import heard_as, sound_of
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.live_words import NUMBER
from assistant.ears.rule import Outcome
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Hearing, Live, Unheard
from assistant.phrases.match import match


class WordsOnly:
    """One recogniser that writes down words; the whole of them must be one live phrase; one owner thread."""

    def __init__(self, ear: Recogniser, limits: Limits = LIMITS) -> None:
        self._ear = ear
        self._limits = limits
        self.name = ear.name

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what an utterance comes to; never raises on odd audio."""
        levels, base = sound_of(utterance, self.name)
        if utterance.too_long:
            return replace(base, unheard=Unheard.TOO_LONG)
        verdict = self._ear.recognise(utterance.samples, live)
        said = {self.name: {"words": verdict.words, "phrase": verdict.phrase}}
        return heard_as(base, decide_alone(verdict, live, self._limits, levels, damaged=damaged), said)

    def prepare(self, live: Live) -> None:
        """Build what the ear needs for a live set, so that the first answer is not late."""
        if (ready := getattr(self._ear, "prepare", None)) is not None:
            ready(live)

    def warm(self, live: Live) -> bool:
        """Need nothing more."""
        del live
        return False

    def close(self) -> None:
        """Free the model."""
        self._ear.close()


def decide_alone(
    verdict: Verdict, live: Live, limits: Limits, levels: Levels, *, damaged: bool = False
) -> Outcome:
    """Apply the rule to one ear's verdict; pure."""
    words, phrase = verdict.words, verdict.phrase
    found = match(words, live)
    if phrase in live.emergency:
        return Outcome(words, phrase=phrase)
    refusal = None
    if damaged:
        refusal = Unheard.DAMAGED
    elif levels.clipped > limits.clipped:
        refusal = Unheard.CLIPPED
    elif not phrase:
        refusal = Unheard.TOO_LOUD if levels.snr_db < limits.loud_db else Unheard.NOT_A_PHRASE
    elif levels.snr_db < limits.snr_db:
        refusal = Unheard.TOO_LOUD
    elif phrase in live.critical:
        refusal = Unheard.ONE_EAR_ONLY
    elif phrase == NUMBER and found.reading is None:
        refusal = Unheard.BAD_NUMBER
    if refusal is not None:
        return Outcome(words, unheard=refusal)
    if phrase == NUMBER:
        return Outcome(words, reading=found.reading, who=found.who)
    return Outcome(words, phrase=phrase, who=found.who)
