"""Log-mel features as Whisper models take them, from 16 kHz samples.

The front end of the published model: 25 ms Hann windows every 10 ms, 80 mel bands (Slaney's scale
and area normalisation), log10 limited to 8 below the peak, scaled to about -1 … 1 (Radford et al.,
"Robust Speech Recognition via Large-Scale Weak Supervision", section 2.2).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from assistant.ears.base import SAMPLE_RATE, Samples

WINDOW = 400
HOP = 160
BANDS = 80
BEND_HZ, BEND_MEL = 1000.0, 15.0
LINEAR = 200.0 / 3.0
LOG_STEP = np.log(6.4) / 27.0

Floats = NDArray[np.float32]


def _to_mel(hertz: NDArray[np.float64]) -> NDArray[np.float64]:
    high = BEND_MEL + np.log(np.maximum(hertz, BEND_HZ) / BEND_HZ) / LOG_STEP
    return np.where(hertz < BEND_HZ, hertz / LINEAR, high)


def _to_hertz(mel: NDArray[np.float64]) -> NDArray[np.float64]:
    high = BEND_HZ * np.exp(LOG_STEP * (np.maximum(mel, BEND_MEL) - BEND_MEL))
    return np.where(mel < BEND_MEL, mel * LINEAR, high)


@lru_cache(maxsize=1)
def mel_bank() -> Floats:
    """Return the triangular filters, shape (80, 201)."""
    bins = np.linspace(0.0, SAMPLE_RATE / 2, WINDOW // 2 + 1)
    ends = _to_mel(np.array([0.0, SAMPLE_RATE / 2]))
    edges = _to_hertz(np.linspace(ends[0], ends[1], BANDS + 2))
    rising = (bins[None, :] - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - bins[None, :]) / (edges[2:] - edges[1:-1])[:, None]
    weights = np.maximum(0.0, np.minimum(rising, falling))
    return (weights * (2.0 / (edges[2:] - edges[:-2]))[:, None]).astype(np.float32)


@lru_cache(maxsize=1)
def _hann() -> Floats:
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(WINDOW) / WINDOW)).astype(np.float32)


def log_mel(samples: Samples, seconds: float) -> Floats:
    """Return features of ``samples`` padded or cut to ``seconds``, shape (80, seconds * 100)."""
    total = int(seconds * SAMPLE_RATE)
    audio = np.zeros(total, np.float32)
    kept = samples[:total]
    audio[: len(kept)] = kept.astype(np.float32) / 32_768.0
    padded = np.pad(audio, WINDOW // 2, mode="reflect")
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[::HOP][: total // HOP]
    power = np.abs(np.fft.rfft(frames * _hann(), axis=1)) ** 2
    logs = np.log10(np.maximum(mel_bank() @ power.T.astype(np.float32), 1e-10))
    logs = np.maximum(logs, logs.max() - 8.0)
    return np.ascontiguousarray((logs + 4.0) / 4.0, dtype=np.float32)
