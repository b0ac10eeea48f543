"""Forced decoding with one small encoder-decoder: how likely each text is, given a sound.

The sound is worked through once; then any number of texts are scored together, or grown token by token.
The model's files are published for ONNX Runtime.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import onnxruntime
from numpy.typing import NDArray

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples

BEGIN, END = 1, 2
HEADS, HEAD_SIZE = 8, 36
SHORTEST = SAMPLE_RATE // 4  # less than this the encoder cannot take

Floats = NDArray[np.float32]
Memory = tuple[Floats, ...]
"""Keys and values of every layer, in the order of the decoder's inputs."""


@dataclass(frozen=True, slots=True)
class Sound:
    """One utterance worked through.

    Encoder output (1, n, 288), its keys and values, and the log-probabilities of the first token (v,).
    """

    encoded: Floats
    memory: Memory
    first: Floats
    seconds: float


class ForcedDecoder:
    """The model; it may be asked by two threads at once."""

    def __init__(self, folder: Path, *, threads: int = 1) -> None:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.log_severity_level = 4
        options.enable_cpu_mem_arena = False  # utterances differ in length: an arena keeps the sum of them all
        self._encoder = onnxruntime.InferenceSession(str(folder / "encoder_model.ort"), options)
        self._decoder = onnxruntime.InferenceSession(str(folder / "decoder_model_merged.ort"), options)
        self._past = [one.name for one in self._decoder.get_inputs() if one.name.startswith("past")]

    def listen(self, samples: Samples) -> Sound:
        """Work through an utterance once; everything else is asked of what this returns."""
        samples = np.pad(samples, (0, max(0, SHORTEST - len(samples))))
        wave = dithered(samples).astype(np.float32)[None] / 32_768.0
        (encoded,) = self._encoder.run(None, {"input_values": wave, "attention_mask": np.ones(wave.shape, np.int64)})
        empty = {name: np.zeros((1, HEADS, 0, HEAD_SIZE), np.float32) for name in self._past}
        logits, *memory = self._decoder.run(None, self._feed([[BEGIN]], encoded, cached=False) | empty)
        return Sound(encoded, tuple(memory), _log_softmax(logits[0, -1]), wave.shape[1] / SAMPLE_RATE)

    def score(self, sound: Sound, rows: Sequence[Sequence[int]]) -> list[Floats]:
        """Return, for each row, of each token and of the end: log-probability, and how far it is behind the best.

        Shape (2, len(row) + 1).
        """
        ids = np.zeros((len(rows), max(map(len, rows))), np.int64)
        for index, row in enumerate(rows):
            ids[index, : len(row)] = row
        logits = self._batch(sound, ids)
        found = []
        for index, row in enumerate(rows):
            steps = logits[index, : len(row)]
            after = steps[np.arange(len(row)), [*row[1:], END]]
            odds = np.concatenate([[sound.first[row[0]]], after - _log_total(steps)])
            behind = np.concatenate([[sound.first[row[0]] - sound.first.max()], after - steps.max(-1)])
            found.append(np.stack([odds, behind]).astype(np.float32))
        return found

    def nexts(self, sound: Sound, rows: Sequence[Sequence[int]]) -> list[float]:
        """Return the log-probability of the last piece of each row, after those before it; all of one length."""
        if not rows:
            return []
        begun = sorted({tuple(row[:-1]) for row in rows})
        at = {beginning: index for index, beginning in enumerate(begun)}
        logits = self._batch(sound, np.array(begun))[:, -1]
        total = _log_total(logits)
        found = [(at[tuple(row[:-1])], row[-1]) for row in rows]
        return [float(logits[place, token] - total[place]) for place, token in found]

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

    def close(self) -> None:
        """Free the model."""
        del self._encoder, self._decoder

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
