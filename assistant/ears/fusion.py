"""Two ears of different make: what one utterance comes to, and why.

The mistakes of the two differ, so what both take for the same phrase is worth far more than what
either does alone. A critical answer needs both. An emergency needs one. Everything else is refused
with a reason; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

from assistant.ears.audio import Levels, digest, measure
from assistant.ears.base import Recogniser, Verdict
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.live_words import NUMBER, number_spelling
from assistant.ears.scorer import BEST, Refusal
from assistant.ears.sphinx import NEAREST
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Hearing, Live, Reading, Role, Unheard
from assistant.phrases.match import match


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
        self._beside = ThreadPoolExecutor(1, "second-ear")  # the one thread that owns the second ear
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
        # Side by side: both are slow, and neither waits for what the other found.
        other = None if self._second is None else self._beside.submit(self._second.recognise, utterance.samples, live)
        first = self._first.recognise(utterance.samples, live)
        second = None if other is None else other.result()
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
        self._beside.shutdown()
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


def nearest_of(verdict: Verdict) -> str:
    """Return the phrase that a streaming ear finds nearest when only phrases are allowed, or ""."""
    return next((name[len(NEAREST) :] for name in verdict.scores if name.startswith(NEAREST)), verdict.phrase)


def _answer(first: Verdict, second: Verdict | None, live: Live, limits: Limits) -> Outcome:
    if second is None:
        return _one_ear(first, live)
    best = best_of(second)
    sure = bool(best) and _passes(second, limits.alone)
    if first.phrase and first.phrase == best and _passes(second, limits.agree):
        return _accepted(first, best, live)
    near = limits.nearest_critical if best in live.critical else limits.nearest
    if best and not first.phrase and nearest_of(first) == best and _passes(second, near):
        return Outcome(second.words, phrase=best, who=_who(second, best, live))
    if first.phrase and sure:
        return Outcome(first.words, unheard=Unheard.EARS_DISAGREE)
    if sure and best not in live.critical:
        return Outcome(second.words, phrase=best, who=_who(second, best, live))
    one = first.phrase or (best if sure else "")
    refusal = Unheard.ONE_EAR_ONLY if one in live.critical else Unheard.NOT_A_PHRASE
    return Outcome(first.words, unheard=refusal)


def _one_ear(first: Verdict, live: Live) -> Outcome:
    if not first.phrase:
        return Outcome(first.words, unheard=Unheard.NOT_A_PHRASE)
    if first.phrase in live.critical:
        return Outcome(first.words, unheard=Unheard.ONE_EAR_ONLY)
    return _accepted(first, first.phrase, live)


def _passes(verdict: Verdict, limits: Refusal) -> bool:
    return limits.accept(verdict.scores) if "score" in verdict.scores else bool(verdict.phrase)


def _accepted(verdict: Verdict, phrase: str, live: Live) -> Outcome:
    return Outcome(verdict.words, phrase=phrase, who=_who(verdict, phrase, live))


def _who(verdict: Verdict, phrase: str, live: Live) -> Role:
    """Return who spoke: the call-sign must be in the words that were heard."""
    found = match(verdict.words, live)
    mates = bool(live.mate) and f"{verdict.words} ".startswith(f"{live.mate} ")
    return found.who if found.phrase == phrase else Role.MATE if mates else Role.DRIVER


UNIT_TAILS = frozenset({"p", "s", "i", "psi", "k", "a"})


def _reading(first: Verdict, second: Verdict | None, live: Live) -> Outcome:
    """Take a number that one ear heard whole and the other does not contradict.

    One ear is enough here, because a reading never counts as it was heard: it is read back digit by
    digit, and the driver's confirmation of that needs both ears.
    """
    verdicts = [verdict for verdict in (first, second) if verdict is not None]
    readings = [reading for verdict in verdicts if (reading := _number(verdict, live)) is not None]
    words = first.words if first.phrase == NUMBER or second is None else second.words
    if not readings:
        return Outcome(words, unheard=Unheard.BAD_NUMBER)
    units = {reading.unit for reading in readings if reading.unit is not None}
    other = {verdict.phrase for verdict in verdicts} - {NUMBER, ""}
    if len({reading.value for reading in readings}) > 1 or len(units) > 1 or other:
        return Outcome(words, unheard=Unheard.EARS_DISAGREE)
    best = next((reading for reading in readings if reading.unit is not None), readings[0])
    return Outcome(best.words, reading=best, who=match(best.words, live).who)


def _number(verdict: Verdict, live: Live) -> Reading | None:
    """Return the number an ear heard; letters of a half-heard unit ("p s i") are left off its end."""
    text = number_spelling(verdict.words)
    found = match(text, live)
    if found.reading is not None:
        return found.reading
    words = text.split()
    while words and words[-1] in UNIT_TAILS:
        words.pop()
    return match(" ".join(words), live).reading if words else None
