"""The ranking ear: a small encoder-decoder that ranks every live phrase by forced decoding.

It does not write down what it hears and then compare; it asks of each live phrase how likely this
sound is to be that phrase. The sound is worked through once, then, piece by piece, the beginnings of
the phrases near the best one, then the whole of the few that are left and of the emergency. It also
writes freely, so that a phrase within a sentence can be refused.

Weights: Moonshine tiny.en (MIT) as published for ONNX Runtime, carried by the package
``moonshine-voice``; each file is checked against its hash.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.closed_set import LM_SHARE, Ranked, best_by_phrase, lacking, reading_texts, sentences
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
BEGIN, END = 1, 2
HEADS, HEAD_SIZE = 8, 36
TOKENS_A_SECOND = 6.5  # more than that is the model talking on by itself
LONGEST_FREE = 30
WITHIN = 5.0
"""Texts are looked at further while they are begun within so many nats of the best one."""
FIRST_LEAST, LEAST, MOST = 6, 4, 14
"""So many at least after the first piece, so many after each further one, and at most to their end."""
DEEPEST = 5
SHORTEST = SAMPLE_RATE // 4  # less than this the encoder cannot take
QUIET_SECONDS = 1.5
QUIET_RMS = 30.0

Floats = NDArray[np.float32]
Memory = tuple[Floats, ...]
"""Keys and values of every layer, in the order of the decoder's inputs."""


@dataclass(frozen=True, slots=True)
class Sound:
    """One utterance worked through: encoder output (1, n, 288), its keys and values, the first token's odds."""

    encoded: Floats
    memory: Memory
    logits: Floats
    seconds: float


class MoonshineEar:
    """Ranks the live phrases for a sound and writes down what it hears; one owner thread."""

    name = "moonshine-tiny.en"

    def __init__(self, folder: Path | None = None, *, threads: int = 1) -> None:
        folder = folder if folder is not None else WEIGHTS.find()
        WEIGHTS.check(folder)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.log_severity_level = 4
        options.enable_cpu_mem_arena = False  # utterances differ in length: an arena keeps the sum of them all
        self._encoder = onnxruntime.InferenceSession(str(folder / "encoder_model.ort"), options)
        self._decoder = onnxruntime.InferenceSession(str(folder / "decoder_model_merged.ort"), options)
        self._past = [one.name for one in self._decoder.get_inputs() if one.name.startswith("past")]
        self.pieces = Pieces((folder / "tokenizer.bin").read_bytes())
        self._unheard: dict[str, Floats] = {}
        quiet = np.random.default_rng(0).standard_normal(int(QUIET_SECONDS * SAMPLE_RATE)) * QUIET_RMS
        self._quiet = self.listen(quiet.astype(np.int16))

    def listen(self, samples: Samples) -> Sound:
        """Work through an utterance once; everything else is asked of what this returns."""
        samples = np.pad(samples, (0, max(0, SHORTEST - len(samples))))
        wave = dithered(samples).astype(np.float32)[None] / 32_768.0
        (encoded,) = self._encoder.run(None, {"input_values": wave, "attention_mask": np.ones(wave.shape, np.int64)})
        empty = {name: np.zeros((1, HEADS, 0, HEAD_SIZE), np.float32) for name in self._past}
        logits, *memory = self._decoder.run(None, self._feed([[BEGIN]], encoded, cached=False) | empty)
        return Sound(encoded, tuple(memory), logits[0, -1], wave.shape[1] / SAMPLE_RATE)

    def prepare(self, live: Live) -> None:
        """Score the texts of a live set without sound ahead of time, so that the first answer is not late."""
        self._without_sound([text for _, text in sentences(live)])

    def rank(self, sound: Sound, live: Live) -> tuple[Ranked, ...]:
        """Return the leading live phrases, each by its best way of saying it, the leading one first.

        Where a reading is due the likeliest readings are among them.
        """
        texts = sentences(live)
        kept = self._leading(sound, texts, live) if texts else []
        kept += self._readings(sound, live)
        if not kept:
            return ()
        self._without_sound([text for _, text in kept])
        whole = self._score(sound, [self.pieces.of(text) for _, text in kept])
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
            for (phrase, text), steps in zip(kept, whole, strict=True)
        )

    def likelihoods(self, sound: Sound, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text, given the sound."""
        return [float(steps[0, :-1].sum()) for steps in self._score(sound, [self.pieces.of(text) for text in texts])]

    def _leading(self, sound: Sound, texts: Sequence[tuple[str, str]], live: Live) -> list[tuple[str, str]]:
        """Return the texts that are best begun, and the best begun one of an emergency wherever it stands.

        By the first piece, which costs nothing, then by one piece more of those near the best, until few are
        left: a mate's texts all begin alike.
        """
        self._without_sound([text for _, text in texts])
        rows = [self.pieces.of(text) for _, text in texts]
        first = _log_softmax(sound.logits)
        hopes = [float(first[row[0]] - LM_SHARE * self._unheard[text][0])
                 for (_, text), row in zip(texts, rows, strict=True)]  # fmt: skip
        stops = [at for at, (phrase, _) in enumerate(texts) if phrase in live.emergency]
        near = _near(hopes, range(len(texts)), FIRST_LEAST)
        for depth in range(2, DEEPEST + 1):
            near += [at for at in stops if at not in near]
            begun = [at for at in near if len(rows[at]) >= depth]
            for at, odds in zip(begun, self._nexts(sound, [rows[at][:depth] for at in begun]), strict=True):
                hopes[at] += odds - LM_SHARE * float(self._unheard[texts[at][1]][depth - 1])
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
        found = likely_numbers(_Rows(self, sound), walk_of(live.reading, live.mate))
        return [pair for words, written in found for pair in reading_texts(words, written, live)]

    def write(self, sound: Sound) -> str:
        """Return what is heard, written freely."""
        found: list[int] = []
        odds, memory = sound.logits, sound.memory
        for _ in range(min(LONGEST_FREE, int(sound.seconds * TOKENS_A_SECOND) + 3)):
            token = int(odds.argmax())
            if token == END:
                break
            found.append(token)
            rows, memory = self.step(sound, [token], memory, [0])
            odds = rows[0]
        return self.pieces.text(found)

    def close(self) -> None:
        """Free the models."""
        del self._encoder, self._decoder

    def _without_sound(self, texts: Sequence[str]) -> None:
        for part in lacking(texts, self._unheard):
            found = self._score(self._quiet, [self.pieces.of(text) for text in part])
            self._unheard |= {text: steps[0] for text, steps in zip(part, found, strict=True)}

    def _nexts(self, sound: Sound, rows: Sequence[Sequence[int]]) -> list[float]:
        """Return the log-probability of the last piece of each row, after those before it; all of one length."""
        if not rows:
            return []
        begun = sorted({tuple(row[:-1]) for row in rows})
        at = {beginning: index for index, beginning in enumerate(begun)}
        logits = self._batch(sound, np.array(begun))[:, -1]
        total = _log_total(logits)
        found = [(at[tuple(row[:-1])], row[-1]) for row in rows]
        return [float(logits[place, token] - total[place]) for place, token in found]

    def _score(self, sound: Sound, rows: Sequence[Sequence[int]]) -> list[Floats]:
        """Return, for each row, of each token and of the end: log-probability, and how far it is behind the best.

        Shape (2, len(row) + 1).
        """
        ids = np.zeros((len(rows), max(map(len, rows))), np.int64)
        for index, row in enumerate(rows):
            ids[index, : len(row)] = row
        logits = self._batch(sound, ids)
        first = _log_softmax(sound.logits)
        found = []
        for index, row in enumerate(rows):
            steps = logits[index, : len(row)]
            after = steps[np.arange(len(row)), [*row[1:], END]]
            odds = np.concatenate([[first[row[0]]], after - _log_total(steps)])
            behind = np.concatenate([[first[row[0]] - first.max()], after - steps.max(-1)])
            found.append(np.stack([odds, behind]).astype(np.float32))
        return found

    def _batch(self, sound: Sound, ids: NDArray[np.int64]) -> Floats:
        """Return the logits after each token of each row; the rows share the sound."""
        rows = len(ids)
        past = {
            name: np.broadcast_to(kept, (rows, *kept.shape[1:]))
            for name, kept in zip(self._past, sound.memory, strict=True)
        }
        encoded = np.broadcast_to(sound.encoded, (rows, *sound.encoded.shape[1:]))
        (logits,) = self._decoder.run(["logits"], self._feed(ids, encoded, cached=True) | past)
        return np.asarray(logits)

    def step(
        self, sound: Sound, tokens: Sequence[int], memory: Memory, parents: Sequence[int]
    ) -> tuple[Floats, Memory]:
        """Take one token on each of ``parents``' rows; returns log-probabilities (n, v) and the new memory."""
        rows = len(tokens)
        past = {}
        for name, kept in zip(self._past, memory, strict=True):
            shared = "encoder" in name
            past[name] = np.broadcast_to(kept[:1], (rows, *kept.shape[1:])) if shared else kept[list(parents)]
        encoded = np.broadcast_to(sound.encoded, (rows, *sound.encoded.shape[1:]))
        ids = np.asarray(tokens, np.int64)[:, None]
        logits, *fresh = self._decoder.run(None, self._feed(ids, encoded, cached=True) | past)
        # What belongs to the sound stays the same; only what was written grows.
        grown = tuple(
            kept if "encoder" in name else new for name, kept, new in zip(self._past, memory, fresh, strict=True)
        )
        return _log_softmax(logits[:, -1]), grown

    @staticmethod
    def _feed(ids: Sequence[Sequence[int]] | NDArray[np.int64], encoded: Floats, *, cached: bool) -> dict[str, object]:
        tokens = np.asarray(ids, np.int64)
        return {
            "input_ids": tokens,
            "encoder_hidden_states": encoded,
            # The model takes every 384th of these, so a mask as long as the encoded sound fails from nine
            # seconds on; one entry stands for all.
            "encoder_attention_mask": np.ones((len(tokens), 1), np.int64),
            "use_cache_branch": np.array([cached]),
        }


class _Rows:
    """The ear for one sound, as the number search sees it."""

    end = END

    def __init__(self, ear: MoonshineEar, sound: Sound) -> None:
        self._ear = ear
        self._sound = sound
        self.pieces = ear.pieces

    def first(self) -> tuple[Floats, Memory]:
        """Return log-probabilities of the first token, and the memory of none."""
        return _log_softmax(self._sound.logits), self._sound.memory

    def step(self, tokens: Sequence[int], memory: Memory, parents: Sequence[int]) -> tuple[Floats, Memory]:
        """Take one more token on each of the parents' rows."""
        return self._ear.step(self._sound, tokens, memory, parents)


def _near(hopes: Sequence[float], among: Iterable[int], least: int) -> list[int]:
    """Return the places of the best, best first: those near the best one, but at least so many."""
    ordered = sorted(among, key=lambda at: -hopes[at])
    return [at for place, at in enumerate(ordered) if place < least or hopes[at] >= hopes[ordered[0]] - WITHIN]


def _log_softmax(logits: Floats) -> Floats:
    return np.asarray(logits - _log_total(logits)[..., None])


def _log_total(logits: Floats) -> Floats:
    """Return the logarithm of the summed exponentials of each row, shape (..., v) to (...).

    Row by row in one small buffer: for the whole at once the system spends longer on handing out the
    room than the processor on the sums.
    """
    total = np.empty(logits.shape[:-1], np.float32)
    room = np.empty(logits.shape[-1], np.float32)
    for at in np.ndindex(total.shape):
        top = logits[at].max()
        np.exp(np.subtract(logits[at], top, out=room), out=room)
        total[at] = top + np.log(room.sum())
    return total
