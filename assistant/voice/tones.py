"""The four tones, made to be told apart by rhythm even where pitch is lost.

MIL-STD-1472E 5.3 asks for 500-3,000 Hz, at least 0.5 s, and a first half second that differs between
signals; ISO 15006 4.1 recommends a pair such as 800 and 3,000 Hz for detection and low enough tones
for older ears; NUREG-0700 1.3.11 gives 200-5,000 Hz. A back-up alarm sounds near 1,250 Hz in a plain
on-off beat, so no tone is centred there or beats evenly at its pace of about one a second.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from assistant.voice.base import Tone
from assistant.voice.clip import Clip

RATE = 22_050
_RAMP_SECONDS = 0.008  # shorter edges click, longer ones blur the rhythm
_PEAK = 0.35


@dataclass(frozen=True, slots=True)
class Beat:
    """A sound of ``seconds`` made of the frequencies ``hertz``, then ``pause`` seconds of silence."""

    seconds: float
    hertz: tuple[float, ...]
    pause: float = 0.0


PATTERNS: dict[Tone, tuple[Beat, ...]] = {
    # One short, one long, rising: done.
    Tone.HEARD: (Beat(0.10, (660, 1980), 0.06), Beat(0.36, (880, 2640))),
    # Three even shorts on one low pitch, as a question knocked on a door.
    Tone.NOT_UNDERSTOOD: (Beat(0.12, (740,), 0.10), Beat(0.12, (740,), 0.10), Beat(0.12, (740,), 0.04)),
    # Long, long, falling: no.
    Tone.REFUSED: (Beat(0.42, (800, 2400), 0.12), Beat(0.42, (560, 1680))),
    # Eight fast beats between two far pitches: stop.
    Tone.STOP: tuple(Beat(0.07, (1600, 3000) if step % 2 else (800, 2000), 0.03) for step in range(8)),
}


def tone_clip(kind: Tone) -> Clip:
    """Return the sound of a tone: 22,050 Hz mono."""
    sound = np.concatenate([part for beat in PATTERNS[kind] for part in _sound(beat)])
    return Clip(np.asarray(sound * _PEAK * 32767, dtype=np.int16), RATE)


def _sound(beat: Beat) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    time = np.arange(round(beat.seconds * RATE)) / RATE
    wave = np.sum([np.sin(2 * np.pi * hertz * time) for hertz in beat.hertz], axis=0) / len(beat.hertz)
    edge = np.minimum(1.0, np.minimum(time, time[::-1]) / _RAMP_SECONDS)
    return wave * edge, np.zeros(round(beat.pause * RATE))
