"""Noises of a yard, synthesised from what makes them; each has root mean square 1 over its length.

Six-cylinder four-stroke idle: firing at rpm / 20 Hz with its harmonics and half orders (engineering
formula). Reversing alarm: tone near 1,250 Hz on and off (NOISE-CON 2025 abstract). Air release:
falling hiss. Wind, rain, babble, wall echo and glove: common practice, no source.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

RATE = 16_000
Floats = NDArray[np.float64]
Rng = np.random.Generator


def rng(*seed: object) -> Rng:
    """Return a generator that depends on ``seed`` alone, so that every run makes the same sound."""
    return np.random.default_rng(zlib.crc32(repr(seed).encode()))


def _unit(sound: Floats) -> Floats:
    return sound / (np.sqrt(np.square(sound).mean()) + 1e-12)


def _coloured(count: int, g: Rng, slope: float) -> Floats:
    """Noise whose power falls by ``slope`` times 10 dB a decade."""
    spectrum = np.fft.rfft(g.standard_normal(count))
    frequency = np.maximum(np.fft.rfftfreq(count, 1 / RATE), 20.0)
    return _unit(np.fft.irfft(spectrum * frequency ** (-slope / 2), count))


def _band(sound: Floats, low: float, high: float) -> Floats:
    spectrum = np.fft.rfft(sound)
    frequency = np.fft.rfftfreq(len(sound), 1 / RATE)
    spectrum[(frequency < low) | (frequency > high)] = 0.0
    return np.fft.irfft(spectrum, len(sound))


def idle(count: int, g: Rng) -> Floats:
    """Diesel idle at 600 to 900 rpm: orders of a six-cylinder, valve clatter, intake rush."""
    firing = g.uniform(600, 900) / 20.0
    time = np.arange(count) / RATE
    wander = 1 + 0.008 * np.sin(2 * np.pi * g.uniform(0.4, 1.2) * time + g.uniform(0, 6))
    phase = 2 * np.pi * np.cumsum(firing * wander) / RATE
    sound = np.zeros(count)
    for sixth in range(1, 240):
        frequency = firing * sixth / 6
        if frequency > 7_000:
            break
        strength = (1.0 if sixth % 6 == 0 else 0.25 if sixth % 3 == 0 else 0.1) / (1 + frequency / 160.0)
        sound += strength * g.uniform(0.4, 1.0) * np.sin(phase * sixth / 6 + g.uniform(0, 6.3))
    clatter = _band(g.standard_normal(count), 1_500, 5_000) * np.maximum(np.sin(phase), 0.0) ** 8
    return _unit(_unit(sound) + 0.35 * _coloured(count, g, 1.0) + 0.2 * _unit(clatter))


def wind(count: int, g: Rng) -> Floats:
    """Gusts over the microphone: low rumble whose strength comes and goes."""
    time = np.arange(count) / RATE
    gust = 0.35 + sum(
        g.uniform(0.2, 0.6) * np.sin(2 * np.pi * f * time + g.uniform(0, 6)) ** 2 for f in (0.3, 0.7, 1.9)
    )
    return _unit(_coloured(count, g, 2.0) * gust)


def rain(count: int, g: Rng) -> Floats:
    """Steady rain on sheet metal: high hiss and single drops."""
    sound = _band(g.standard_normal(count), 800, 7_500)
    for at in g.integers(0, count, size=max(count // 400, 1)):
        length = min(int(RATE * g.uniform(0.002, 0.01)), count - at)
        ring = np.sin(2 * np.pi * g.uniform(900, 4_000) * np.arange(length) / RATE)
        sound[at : at + length] += g.uniform(0.5, 3.0) * ring * np.exp(-np.arange(length) / (length / 4 + 1))
    return _unit(sound)


def hiss(count: int, g: Rng) -> Floats:
    """Air-brake release over the idling engine: a burst of hiss that dies away."""
    time = np.arange(count) / RATE
    burst = _band(g.standard_normal(count), 1_000, 7_800)
    start = g.uniform(0.0, max(count / RATE - 1.0, 0.1))
    shape = np.where(time >= start, np.exp(-(time - start) / 0.8), 0.05)
    return _unit(0.7 * idle(count, g) + 2.0 * burst * shape)


def alarm(count: int, g: Rng) -> Floats:
    """Reversing alarm near 1,250 Hz, half a second on and off, over the idling engine."""
    time = np.arange(count) / RATE
    tone = np.sin(2 * np.pi * g.uniform(1_150, 1_350) * time) * (((time * 1.0 + g.uniform(0, 1)) % 1.0) < 0.5)
    return _unit(_unit(tone) + 0.6 * idle(count, g))


def babble(count: int, g: Rng, talkers: Sequence[Floats]) -> Floats:
    """Several people at once, each somewhere in their own talk."""
    sound = np.zeros(count)
    for talk in talkers:
        at = int(g.integers(0, max(len(talk), 1)))
        sound += g.uniform(0.6, 1.0) * np.resize(np.roll(talk, -at), count)
    return _unit(sound)


NOISES: dict[str, Callable[[int, Rng], Floats]] = {
    "idle": idle, "wind": wind, "rain": rain, "hiss": hiss, "alarm": alarm,
}  # fmt: skip


def echo(sound: Floats, g: Rng) -> Floats:
    """Reflections of a yard wall some metres off, and a short tail."""
    out = np.concatenate([sound, np.zeros(RATE // 2)])
    for metres, strength in ((g.uniform(3, 6), 0.45), (g.uniform(7, 12), 0.3), (g.uniform(13, 20), 0.15)):
        late = int(2 * metres / 343.0 * RATE)
        out[late : late + len(sound)] += strength * sound[: len(out) - late]
    tail = g.standard_normal(RATE // 4) * np.exp(-np.arange(RATE // 4) / (0.05 * RATE)) * 0.02
    return out + np.convolve(out, tail)[: len(out)]


def glove(sound: Floats) -> Floats:
    """Speech through a glove over the microphone: high tones fall away above 1.5 kHz."""
    spectrum = np.fft.rfft(sound)
    frequency = np.fft.rfftfreq(len(sound), 1 / RATE)
    return np.fft.irfft(spectrum / (1 + (frequency / 1_500.0) ** 2), len(sound))


def mix(speech: Floats, noise: Floats, snr_db: float | None, speech_rms: float) -> NDArray[np.int16]:
    """Add noise so that the speech stands ``snr_db`` above it; None: almost none. Lengths must agree."""
    strength = 0.00006 if snr_db is None else speech_rms * 10 ** (-snr_db / 20)
    return np.clip((speech + noise * strength) * 32_767.0, -32_768, 32_767).astype(np.int16)
