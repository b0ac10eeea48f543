"""The ranking ear: a small encoder-decoder that ranks every live phrase by forced decoding.

It does not write down what it hears and then compare; it asks of each live phrase how likely this
sound is to be that phrase. The sound is worked through once, then, piece by piece, the beginnings of
the phrases near the best one, then the whole of the few that are left and of the emergency. What can be
said elsewhere in a run is ranked beside them, so that it is not taken for what comes near it here. The ear
also writes freely, so that a phrase within a sentence can be refused.

Weights: Moonshine tiny.en (MIT) as published for ONNX Runtime, carried by the package
``moonshine-voice``; each file is checked against its hash.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from pathlib import Path

import numpy as np

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.closed_set import (
    AT_ONCE,
    RANKING_SHARE,
    Ranked,
    Scored,
    best_by_phrase,
    lacking,
    reading_texts,
    sentences,
    sentences_elsewhere,
)
from assistant.ears.forced import END, Floats, ForcedDecoder, Memory, Sound
from assistant.ears.number_search import likely_numbers, walk_of
from assistant.ears.pieces import Pieces
from assistant.ears.weights import Weights
from assistant.phrases.live import Live

WEIGHTS = Weights(
    package="moonshine-voice",
    version="0.0.49",
    module="moonshine_voice",
    folder="assets/tiny-en",
    hashes={
        "encoder_model.ort": "94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221",
        "decoder_model_merged.ort": "cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0",
        "tokenizer.bin": "6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d",
    },
)
TOKENS_A_SECOND = 6.5  # more than that is the model talking on by itself
LONGEST_FREE = 30
WITHIN = 5.0
"""Texts are looked at further while they are begun within so many nats of the best one."""
FIRST_LEAST, LEAST, MOST = 6, 4, 14
"""So many at least after the first piece, so many after each further one, and at most to their end."""
DEEPEST = 5
OTHERS = 3
"""So many texts that do not count now are handed on."""
QUIET_SECONDS = 1.5
QUIET_RMS = 30.0


class MoonshineEar:
    """Ranks the live phrases for a sound and writes down what it hears; one owner thread."""

    name = "moonshine-tiny.en"

    def __init__(self, folder: Path | None = None, *, threads: int = 1) -> None:
        folder = folder if folder is not None else WEIGHTS.find()
        WEIGHTS.check(folder)
        self._model = ForcedDecoder(folder, threads=threads)
        self.pieces = Pieces((folder / "tokenizer.bin").read_bytes())
        self._unheard: dict[str, Floats] = {}
        quiet = np.random.default_rng(0).standard_normal(int(QUIET_SECONDS * SAMPLE_RATE)) * QUIET_RMS
        self._quiet = self.listen(quiet.astype(np.int16))

    def listen(self, samples: Samples) -> Sound:
        """Work through an utterance once; everything else is asked of what this returns."""
        return self._model.listen(samples)

    def prepare(self, live: Live) -> None:
        """Score the texts of a live set without sound ahead of time, so that the first answer is not late."""
        self._without_sound([text for _, text in sentences(live)])

    def warm(self, live: Live) -> bool:
        """Score some texts that count elsewhere without sound, while nobody speaks; True while more are left."""
        cold = [text for _, text in sentences_elsewhere(live) if text not in self._unheard]
        self._without_sound(cold[:AT_ONCE])
        return len(cold) > AT_ONCE

    def rank(self, sound: Sound, live: Live) -> tuple[Ranked, ...]:
        """Return the leading live phrases, each by its best way of saying it, the leading one first.

        Where a reading is due the likeliest readings are among them.
        """
        kept = self._leading(sound, sentences(live), live.emergency)
        kept += self._readings(sound, live)
        return best_by_phrase(
            Ranked(
                phrase,
                text,
                heard=float(steps[0, :-1].sum()),
                unheard=float(self._unheard[text][:-1].sum()),
                opens=float(steps[1, 0]),
                closes=float(steps[1, -2:].sum()),
                ends=float(steps[0, -1]),
            )
            for (phrase, text), steps in zip(kept, self._whole(sound, kept), strict=True)
        )

    def elsewhere(self, sound: Sound, live: Live) -> list[Scored]:
        """Return the leading texts of what can be said in the run but does not count now, the leading one first."""
        kept = self._leading(sound, sentences_elsewhere(live))
        scored = [
            Scored(phrase, text, float(steps[0, :-1].sum()), float(self._unheard[text][:-1].sum()))
            for (phrase, text), steps in zip(kept, self._whole(sound, kept), strict=True)
        ]
        return sorted(scored, key=lambda one: -one.gain)[:OTHERS]

    def likelihoods(self, sound: Sound, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text, given the sound."""
        rows = [self.pieces.of(text) for text in texts]
        return [float(steps[0, :-1].sum()) for steps in self._model.score(sound, rows)] if rows else []

    def unheard(self, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text without any sound; they are not kept."""
        return self.likelihoods(self._quiet, texts)

    def share(self, phrase: str) -> float:  # noqa: ARG002 - the same for all
        """Return how much of the likelihood without sound is taken off."""
        return RANKING_SHARE

    def write(self, sound: Sound) -> str:
        """Return what is heard, written freely."""
        found: list[int] = []
        odds, memory = sound.first, sound.memory
        for _ in range(min(LONGEST_FREE, int(sound.seconds * TOKENS_A_SECOND) + 3)):
            token = int(odds.argmax())
            if token == END:
                break
            found.append(token)
            rows, memory = self._model.step(sound, [token], memory, [0])
            odds = rows[0]
        return self.pieces.text(found)

    def close(self) -> None:
        """Free the models."""
        self._model.close()

    def _whole(self, sound: Sound, texts: Sequence[tuple[str, str]]) -> list[Floats]:
        """Score the whole of each text (phrase, text), and make sure that it is known without sound."""
        self._without_sound([text for _, text in texts])
        return self._model.score(sound, [self.pieces.of(text) for _, text in texts]) if texts else []

    def _leading(
        self, sound: Sound, texts: Sequence[tuple[str, str]], always: Collection[str] = ()
    ) -> list[tuple[str, str]]:
        """Return the texts that are best begun, and the best begun one of ``always`` wherever it stands.

        By the first piece, which costs nothing, then by one piece more of those near the best, until few are
        left: a mate's texts all begin alike.
        """
        rows = [self.pieces.of(text) for _, text in texts]
        gain = sound.first - RANKING_SHARE * self._quiet.first
        hopes = [float(gain[row[0]]) for row in rows]
        stops = [at for at, (phrase, _) in enumerate(texts) if phrase in always]
        near = _near(hopes, range(len(texts)), FIRST_LEAST)
        for depth in range(2, DEEPEST + 1):
            near += [at for at in stops if at not in near]
            begun = [at for at in near if len(rows[at]) >= depth]
            self._without_sound([texts[at][1] for at in begun])
            for at, odds in zip(begun, self._model.nexts(sound, [rows[at][:depth] for at in begun]), strict=True):
                hopes[at] += odds - RANKING_SHARE * float(self._unheard[texts[at][1]][depth - 1])
            near = _near(hopes, near, LEAST)
            if len(near) <= MOST:
                break
        kept = near[:MOST]
        if stops and not set(stops) & set(kept):
            kept.append(max(stops, key=lambda at: hopes[at]))
        return [texts[at] for at in kept]

    def _readings(self, sound: Sound, live: Live) -> list[tuple[str, str]]:
        """Return the likeliest readings of the kind that is due, in words and in figures."""
        if live.reading is None:
            return []
        found = likely_numbers(_Rows(self._model, self.pieces, sound), walk_of(live.reading, live.mate))
        return [pair for words, written in found for pair in reading_texts(words, written, live)]

    def _without_sound(self, texts: Sequence[str]) -> None:
        for part in lacking(texts, self._unheard):
            found = self._model.score(self._quiet, [self.pieces.of(text) for text in part])
            self._unheard |= {text: steps[0] for text, steps in zip(part, found, strict=True)}


class _Rows:
    """The model on one sound, as the number search sees it."""

    end = END

    def __init__(self, model: ForcedDecoder, pieces: Pieces, sound: Sound) -> None:
        self._model = model
        self._sound = sound
        self.pieces = pieces

    def first(self) -> tuple[Floats, Memory]:
        """Return log-probabilities of the first token, and the memory of none."""
        return self._sound.first, self._sound.memory

    def step(self, tokens: Sequence[int], memory: Memory, parents: Sequence[int]) -> tuple[Floats, Memory]:
        """Take one more token on each of the parents' rows."""
        return self._model.step(self._sound, tokens, memory, parents)


def _near(hopes: Sequence[float], among: Iterable[int], least: int) -> list[int]:
    """Return the places of the best, best first: those near the best one, but at least so many."""
    ordered = sorted(among, key=lambda at: -hopes[at])
    return [at for place, at in enumerate(ordered) if place < least or hopes[at] >= hopes[ordered[0]] - WITHIN]
