"""Two ears of different make: what one utterance comes to, and why.

The mistakes of the two differ, so what both take for the same phrase is worth far more than what
either does alone. An answer needs both to put the same phrase first, a critical one surely. An
emergency needs one. Everything else is refused with a reason; nothing is guessed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

from assistant.ears.audio import Levels, digest, measure
from assistant.ears.base import Recogniser, Verdict
from assistant.ears.closed_set import (
    Ranked,
    Scorer,
    around,
    around_gain,
    contraries,
    contrary_gain,
    reading_of,
)
from assistant.ears.evidence import Evidence, more_was_said, odds
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.live_words import NUMBER
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.utterances import Utterance
from assistant.ears.whisper import WhisperEar
from assistant.phrases.live import Hearing, Live, Reading, Role, Unheard
from assistant.phrases.match import match
from assistant.phrases.words import normalise

Sound = TypeVar("Sound")
CANDIDATES = 4
"""Phrases that the second ear weighs: of 1,327 sounds not one came out otherwise with 8 (at the shares of the time)."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """Exactly one of ``phrase``, ``reading`` and ``unheard`` is set; ``words`` are what was taken or written."""

    words: str
    phrase: str | None = None
    reading: Reading | None = None
    unheard: Unheard | None = None
    who: Role = Role.DRIVER


class Pair:
    """The ranking ear, the weighing ear and the rule between them; one owner thread.

    ``grammar`` is a third ear, where there is one: a streaming recogniser with decoys. It may stop a
    run, and what it hears as another live phrase is refused; it never makes an answer.
    """

    def __init__(
        self,
        first: MoonshineEar,
        second: WhisperEar,
        grammar: Recogniser | None = None,
        limits: Limits = LIMITS,
    ) -> None:
        self._first = first
        self._second = second
        self._grammar = grammar
        self._beside = ThreadPoolExecutor(1, "beside")
        self._limits = limits
        self.name = "+".join(ear.name for ear in (first, second, grammar) if ear is not None)

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what an utterance comes to; never raises on odd audio."""
        levels, base = sound_of(utterance, self.name)
        if utterance.too_long:
            return replace(base, unheard=Unheard.TOO_LONG)
        found = self.evidence(utterance, live)
        third = None if self._grammar is None else self._grammar.recognise(utterance.samples, live)
        outcome = decide(found, third, live, self._limits, levels, damaged=damaged)
        return heard_as(base, outcome, self._log(found, third))

    def evidence(self, utterance: Utterance, live: Live) -> Evidence:
        """Return what both ears make of the sound, before any rule.

        Side by side: while the first ranks, the second works through the sound and the first's free
        text is written; while the second weighs the leading phrases, the first tries what would deny
        the leading one, and what would make it a part of something longer.
        """
        worked = self._beside.submit(self._second.listen, utterance.samples)
        sound = self._first.listen(utterance.samples)
        writing = self._beside.submit(self._first.write, sound)
        ranked = self._first.rank(sound, live)
        if not ranked:
            return Evidence((), (), writing.result())
        others = self._first.elsewhere(sound, live)
        lead, written = ranked[0], writing.result()
        texts, more = contraries(lead.text), around(lead.text, written)
        tried = self._beside.submit(_tried, self._first, sound, lead.phrase, texts, more)
        asked = candidates(ranked, live) + [(one.phrase, one.text) for one in others]
        weighed = self._second.weigh(worked.result(), asked)
        denied, more_gains = _tried(self._second, worked.result(), lead.phrase, texts, more)
        first_denied, first_more_gains = tried.result()
        second = next(one for one in weighed if one.phrase == lead.phrase)
        both = [one + other for one, other in zip(first_denied, denied, strict=True)]
        return Evidence(
            ranked,
            tuple(one for one in weighed if one.phrase),
            written,
            contrary=contrary_gain(lead.heard + second.heard, both),
            around=around_gain((lead.gain, second.gain), (first_more_gains, more_gains)),
            elsewhere=others[0].gain if others else -math.inf,
            second_elsewhere=next((one.gain for one in weighed if not one.phrase), -math.inf),
        )

    def prepare(self, live: Live) -> None:
        """Build what the ears need for a live set, so that the first answer is not late."""
        self._first.prepare(live)
        self._second.prepare(live)
        if self._grammar is not None and (ready := getattr(self._grammar, "prepare", None)) is not None:
            ready(live)

    def warm(self, live: Live) -> bool:
        """Build a little of what the ears need to know what counts elsewhere; True while more is left."""
        return self._first.warm(live)

    def close(self) -> None:
        """Free the models."""
        self._beside.shutdown()
        for ear in (self._first, self._second, self._grammar):
            if ear is not None:
                ear.close()

    def _log(self, found: Evidence, third: Verdict | None) -> Mapping[str, Mapping[str, object]]:
        weights = self._limits.weights
        said: dict[str, Mapping[str, object]] = {
            self._first.name: {
                "words": normalise(found.written),
                "phrase": found.leading,
                "odds": _plain(odds(found, found.leading, weights)),
            },
            self._second.name: {"words": "", "phrase": found.second_leading},
        }
        if self._grammar is not None and third is not None:
            said[self._grammar.name] = {"words": third.words, "phrase": third.phrase}
        return said


def _tried(
    ear: Scorer[Sound], sound: Sound, phrase: str, texts: list[str], more: list[str]
) -> tuple[list[float], list[float]]:
    """Return how likely each of ``texts`` is, and what hearing gains for each of ``more``, which holds a phrase."""
    heard = ear.likelihoods(sound, [*texts, *more])
    unheard = ear.unheard(more)
    gains = [one - ear.share(phrase) * other for one, other in zip(heard[len(texts) :], unheard, strict=True)]
    return heard[: len(texts)], gains


def _plain(value: float) -> float:
    return round(max(value, -99.0), 2)


def candidates(ranked: tuple[Ranked, ...], live: Live) -> list[tuple[str, str]]:
    """Return what the second ear weighs: the leading phrases, and always an emergency."""
    chosen = list(ranked[:CANDIDATES])
    chosen += [one for one in ranked[CANDIDATES:] if one.phrase in live.emergency][:1]
    return [(one.phrase, one.text) for one in chosen]


def sound_of(utterance: Utterance, name: str) -> tuple[Levels, Hearing]:
    """Return an utterance's levels and what is told of its sound whatever it comes to."""
    levels = measure(utterance.samples)
    if utterance.noise_db is not None:
        levels = replace(levels, noise_db=max(utterance.noise_db, levels.noise_db))
    return levels, Hearing(
        name,
        audio_sha256=digest(utterance.samples),
        start=utterance.start,
        end=utterance.end,
        speech_db=round(levels.speech_db, 1),
        noise_db=round(levels.noise_db, 1),
    )


def heard_as(base: Hearing, outcome: Outcome, ears: Mapping[str, Mapping[str, object]]) -> Hearing:
    """Return the hearing of an outcome."""
    return replace(
        base,
        words=outcome.words,
        phrase=outcome.phrase,
        reading=outcome.reading,
        unheard=outcome.unheard,
        who=outcome.who,
        ears=ears,
    )


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
    return Outcome(words, unheard=Unheard.TOO_LOUD) if levels.snr_db < limits.snr_db else answer


def _emergency(found: Evidence, third: Verdict | None, live: Live, limits: Limits) -> Outcome | None:
    """Return the emergency that any ear heard: one is enough, in any noise."""
    if third is not None and third.phrase in live.emergency:
        return Outcome(third.words, phrase=third.phrase)
    for phrase in sorted(live.emergency & {found.leading, found.second_leading}):
        if odds(found, phrase, limits.stop_weights) >= limits.emergency:
            return _accepted(found, phrase, live)
    return None


def _answer(found: Evidence, third: Verdict | None, live: Live, limits: Limits) -> Outcome:
    phrase, words = found.leading, normalise(found.written)
    likely = odds(found, phrase, limits.weights)
    if phrase.startswith(NUMBER):
        return _reading(found, live, likely >= limits.reading)
    if phrase in live.emergency or likely < limits.answer:
        return Outcome(words, unheard=Unheard.NOT_A_PHRASE)
    if found.contrary >= limits.contrary or more_was_said(found.written, found.ranked[0].text):
        return Outcome(words, unheard=Unheard.NOT_A_PHRASE)
    if found.leading_gain < limits.gain:
        return Outcome(words, unheard=Unheard.NOT_A_PHRASE)
    if third is not None and third.phrase not in {"", phrase}:
        return Outcome(words, unheard=Unheard.EARS_DISAGREE)
    if found.second_leading != phrase:
        return Outcome(words, unheard=Unheard.EARS_DISAGREE)
    if phrase in live.critical and likely < limits.critical:
        return Outcome(words, unheard=Unheard.UNSURE)
    return _accepted(found, phrase, live)


def _accepted(found: Evidence, phrase: str, live: Live) -> Outcome:
    text = normalise(next(one.text for one in found.ranked if one.phrase == phrase))
    return Outcome(text, phrase=phrase, who=match(text, live).who)


def _reading(found: Evidence, live: Live, likely: bool) -> Outcome:
    """Take the leading reading, if it is likely and both ears put it first.

    It never counts as it was heard: it is read back digit by digit, and confirmed as a critical answer.
    """
    if not likely:
        return Outcome(normalise(found.written), unheard=Unheard.BAD_NUMBER)
    if found.second_leading != found.leading:
        return Outcome(normalise(found.written), unheard=Unheard.EARS_DISAGREE)
    reading = reading_of(found.ranked[0].text, live)
    if reading is None:
        return Outcome(normalise(found.written), unheard=Unheard.BAD_NUMBER)
    return Outcome(reading.words, reading=reading, who=match(reading.words, live).who)
