"""Two ears of different make: what both find in one utterance."""

from __future__ import annotations

import math
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TypeVar

from assistant.ears.audio import Levels, digest, measure
from assistant.ears.base import Recogniser, Samples, Verdict
from assistant.ears.closed_set import Ranked, Scored, Scorer, contraries, contrary_gain
from assistant.ears.evidence import Evidence
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.memory import give_back
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.odds import odds
from assistant.ears.rule import Outcome, decide
from assistant.ears.utterances import Utterance
from assistant.ears.whisper import WhisperEar
from assistant.phrases.live import Hearing, Live, Unheard
from assistant.phrases.words import normalise

Sound = TypeVar("Sound")
CANDIDATES = 4
"""Phrases that the second ear weighs: of 1,327 sounds not one came out otherwise with 8 (at the shares of the time)."""
MOST_WRITTEN = 10  # words of the free text that are weighed: what goes on longer is no phrase anyway


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
        found = self.evidence(utterance.samples, live)
        third = None if self._grammar is None else self._grammar.recognise(utterance.samples, live)
        outcome = decide(found, third, live, self._limits, levels, damaged=damaged)
        self._beside.submit(give_back)  # while nobody waits
        return heard_as(base, outcome, self._log(found, third))

    def evidence(self, samples: Samples, live: Live) -> Evidence:
        """Return what both ears make of the sound, before any rule.

        Side by side: while the first ranks, the second works through the sound and the first's free text is
        written; while the second weighs the leading phrases, the first tries what would deny the leading one,
        and what it wrote freely.
        """
        worked = self._beside.submit(self._second.listen, samples)
        sound = self._first.listen(samples)
        writing = self._beside.submit(self._first.write, sound)
        ranked = self._first.rank(sound, live)
        if not ranked:
            return Evidence((), (), writing.result())
        tried = self._beside.submit(lambda: tried_by(self._first, sound, ranked[0], writing.result()))
        others = self._first.elsewhere(sound, live)
        asked = candidates(ranked, live) + [(one.phrase, one.text) for one in others]
        weighed = self._second.weigh(worked.result(), asked)
        second = next(one for one in weighed if one.phrase == ranked[0].phrase)
        second_tried = tried_by(self._second, worked.result(), ranked[0], writing.result())
        return Evidence(
            ranked,
            tuple(one for one in weighed if one.phrase),
            writing.result(),
            elsewhere=others[0].gain if others else -math.inf,
            second_elsewhere=next((one.gain for one in weighed if not one.phrase), -math.inf),
            **tried_figures(ranked[0], second, tried.result(), second_tried),
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


@dataclass(frozen=True, slots=True)
class Tried:
    """What one ear makes of the texts beside the leading one.

    How likely each text that denies it is, and what hearing gains for what was written freely.
    """

    denied: list[float]
    freely: float


def tried_by(ear: Scorer[Sound], sound: Sound, lead: Ranked, written: str) -> Tried:
    """Return what an ear makes of the texts that would deny the leading one, and of what was written freely."""
    denials = contraries(lead.text)
    freely = [" ".join(written.split()[:MOST_WRITTEN])] if written.strip() else []
    heard = ear.likelihoods(sound, [*denials, *freely])
    count, share = len(denials), ear.share(lead.phrase)
    gains = [one - share * other for one, other in zip(heard[count:], ear.unheard(freely), strict=True)]
    return Tried(heard[:count], gains[0] if gains else -math.inf)


def tried_figures(lead: Scored, second: Scored, one: Tried, other: Tried) -> dict[str, float]:
    """Return what was tried as figures of the evidence; ``lead`` and ``second`` are the leading text in either ear."""
    both = [denied + also for denied, also in zip(one.denied, other.denied, strict=True)]
    contrary = contrary_gain(lead.heard + second.heard, both)
    return {"contrary": contrary, "freely": one.freely, "second_freely": other.freely}


def _plain(value: float) -> float:
    return -99.0 if math.isnan(value) else round(max(value, -99.0), 2)


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
