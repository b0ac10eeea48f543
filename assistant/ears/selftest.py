"""Sound that is no answer, made of numbers: a recogniser that takes it for one is not used.

Voice-like buzz whose formants wander from syllable to syllable, and plain noise. It says nothing in
any language, so that every model can be tried with it at load without carrying recordings.
"""

from __future__ import annotations

import numpy as np

from assistant.ears.base import SAMPLE_RATE, Samples

SECONDS = 2.0
SYLLABLES_A_SECOND = 4.5
FORMANTS = ((300.0, 800.0), (900.0, 2_200.0), (2_300.0, 3_000.0))  # range of each, hertz; from memory


def no_answers(count: int = 3) -> tuple[Samples, ...]:
    """Return ``count`` clips of babble and one of noise; the same ones on every machine."""
    g = np.random.default_rng(393)
    noise = (g.standard_normal(int(SECONDS * SAMPLE_RATE)) * 900).astype(np.int16)
    return (*(_babble(g) for _ in range(count)), noise)


def _babble(g: np.random.Generator) -> Samples:
    total = int(SECONDS * SAMPLE_RATE)
    time = np.arange(total) / SAMPLE_RATE
    pitch = g.uniform(95, 210) * (1 + 0.1 * np.sin(2 * np.pi * g.uniform(0.5, 2) * time))
    phase = 2 * np.pi * np.cumsum(pitch) / SAMPLE_RATE
    syllables = int(SECONDS * SYLLABLES_A_SECOND) + 2
    marks = np.linspace(0, SECONDS, syllables)
    tracks = [np.interp(time, marks, g.uniform(low, high, syllables)) for low, high in FORMANTS]
    sound = np.zeros(total)
    for harmonic in range(1, 30):
        frequency = pitch * harmonic
        gain = sum(np.exp(-(((frequency - track) / 180.0) ** 2)) for track in tracks)
        sound += gain * np.sin(phase * harmonic)
    beat = np.maximum(np.interp(time, marks, g.uniform(0, 1, syllables)), 0.05)
    sound *= beat
    return np.asarray(sound / np.abs(sound).max() * 9_000, np.int16)
