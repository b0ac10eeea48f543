"""Two ears of different make: what one utterance comes to, and why.

The mistakes of the two differ, so what both take for the same phrase is worth far more than what
either does alone. A critical answer needs both. An emergency needs one. Everything else is refused
with a reason; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from assistant.ears.audio import Levels, digest, measure
from assistant.ears.base import Recogniser, Verdict
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.live_words import NUMBER
from assistant.ears.scorer import Refusal
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Hearing, Live, Reading, Role, Unheard
from assistant.phrases.match import match

BEST = "best:"


@dataclass(frozen=True, slots=True)
class Outcome:
    """Exactly one of ``phrase``, ``reading`` and ``unheard`` is set; ``words`` are the deciding ear's."""

    words: str
    phrase: str | None = None
    reading: Reading | None = None
    unheard: Unheard | None = None
    who: Role = Role.DRIVER


class Pair:
    """One or two recognisers and the rule between them; one owner thread.

    ``first`` writes down words (with decoys), ``second`` scores the closed set. Without a second ear
    critical answers are refused as heard by one ear only.
    """

    def __init__(self, first: Recogniser, second: Recogniser | None = None, limits: Limits = LIMITS) -> None:
        self._first = first
        self._second = second
        self._limits = limits
        self.name = first.name if second is None else f"{first.name}+{second.name}"

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what an utterance comes to; never raises on odd audio."""
        levels = measure(utterance.samples)
        if utterance.noise_db is not None:
            levels = replace(levels, noise_db=max(utterance.noise_db, levels.noise_db))
        base = Hearing(
            self.name,
            audio_sha256=digest(utterance.samples),
            start=utterance.start,
            end=utterance.end,
            speech_db=round(levels.speech_db, 1),
            noise_db=round(levels.noise_db, 1),
        )
        if utterance.too_long:
            return replace(base, unheard=Unheard.TOO_LONG)
        first = self._first.recognise(utterance.samples, live)
        second = None if self._second is None else self._second.recognise(utterance.samples, live)
        outcome = decide(first, second, live, self._limits, levels, damaged=damaged)
        return replace(
            base,
            words=outcome.words,
            phrase=outcome.phrase,
            reading=outcome.reading,
            unheard=outcome.unheard,
            who=outcome.who,
            ears=self._log(first, second),
        )

    def prepare(self, live: Live) -> None:
        """Build what the first ear needs for a live set, so that its first answer is not late."""
        ready = getattr(self._first, "prepare", None)
        if ready is not None:
            ready(live)

    def close(self) -> None:
        """Free both models."""
        self._first.close()
        if self._second is not None:
            self._second.close()

    def _log(self, first: Verdict, second: Verdict | None) -> Mapping[str, Mapping[str, object]]:
        said: dict[str, Mapping[str, object]] = {self._first.name: _record(first)}
        if self._second is not None and second is not None:
            said[self._second.name] = _record(second)
        return said


def _record(verdict: Verdict) -> Mapping[str, object]:
    scores = {name: round(value, 3) for name, value in verdict.scores.items()}
    return {"words": verdict.words, "phrase": verdict.phrase, **scores}


def decide(
    first: Verdict,
    second: Verdict | None,
    live: Live,
    limits: Limits,
    levels: Levels,
    *,
    damaged: bool = False,
) -> Outcome:
    """Apply the rule to two verdicts; pure."""
    emergency = _emergency(first, second, live, limits)
    if emergency:
        return Outcome(first.words or emergency, phrase=emergency)
    words = first.words
    if damaged:
        return Outcome(words, unheard=Unheard.DAMAGED)
    if levels.clipped > limits.clipped:
        return Outcome(words, unheard=Unheard.CLIPPED)
    something = bool(first.phrase or (second is not None and second.phrase))
    if levels.snr_db < limits.snr_db and something:
        return Outcome(words, unheard=Unheard.TOO_LOUD)
    if NUMBER in {first.phrase, "" if second is None else second.phrase}:
        return _reading(first, second, live)
    return _answer(first, second, live, limits)


def _emergency(first: Verdict, second: Verdict | None, live: Live, limits: Limits) -> str:
    if first.phrase in live.emergency:
        return first.phrase
    if second is not None:
        best = best_of(second)
        if best in live.emergency and limits.emergency.accept(second.scores):
            return best
    return ""


def best_of(verdict: Verdict) -> str:
    """Return the leading phrase of a closed-set ear, accepted or not; "" when it names none."""
    return next((name[len(BEST) :] for name in verdict.scores if name.startswith(BEST)), verdict.phrase)


def _answer(first: Verdict, second: Verdict | None, live: Live, limits: Limits) -> Outcome:
    if second is None:
        if not first.phrase:
            return Outcome(first.words, unheard=Unheard.NOT_A_PHRASE)
        if first.phrase in live.critical:
            return Outcome(first.words, unheard=Unheard.ONE_EAR_ONLY)
        return _accepted(first, first.phrase, live)
    best = best_of(second)
    if first.phrase and first.phrase == best and _passes(second, limits.agree):
        return _accepted(first, first.phrase, live)
    sure = bool(best) and _passes(second, limits.alone)
    if first.phrase and sure and first.phrase != best:
        return Outcome(first.words, unheard=Unheard.EARS_DISAGREE)
    if sure and best not in live.critical and not first.phrase:
        return Outcome(second.words, phrase=best)
    one = first.phrase or (best if sure else "")
    if one in live.critical:
        return Outcome(first.words, unheard=Unheard.ONE_EAR_ONLY)
    return Outcome(first.words, unheard=Unheard.NOT_A_PHRASE)


def _passes(verdict: Verdict, limits: Refusal) -> bool:
    return limits.accept(verdict.scores) if "score" in verdict.scores else bool(verdict.phrase)


def _accepted(verdict: Verdict, phrase: str, live: Live) -> Outcome:
    return Outcome(verdict.words, phrase=phrase, who=match(verdict.words, live).who)


def _reading(first: Verdict, second: Verdict | None, live: Live) -> Outcome:
    """A number counts when all ears that heard a number heard the same one."""
    heard = [match(v.words, live) for v in (first, second) if v is not None and v.phrase == NUMBER]
    readings = [m for m in heard if m.reading is not None]
    if not readings:
        return Outcome(heard[0].words, unheard=Unheard.BAD_NUMBER)
    values = {(m.reading.value, m.reading.unit) for m in readings if m.reading is not None}
    if len(values) > 1:
        return Outcome(first.words, unheard=Unheard.EARS_DISAGREE)
    if second is not None and len(readings) == 1:
        return Outcome(first.words, unheard=Unheard.BAD_NUMBER)
    return Outcome(readings[0].words, reading=readings[0].reading, who=readings[0].who)
