"""Tones: measured by FFT and by envelope, since they must be told apart in noise and by old ears."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from assistant.voice.base import Tone
from assistant.voice.clip import Clip
from assistant.voice.tones import tone_clip

HALF_SECOND = 11_025


def _on_and_off(clip: Clip) -> NDArray[np.bool_]:
    """Return whether sound is on in each 10 ms."""
    size = clip.rate // 100
    whole = len(clip.pcm) // size * size
    return np.abs(clip.pcm[:whole].astype(int)).reshape(-1, size).max(axis=1) > 1500


def _lengths(clip: Clip) -> list[tuple[bool, int]]:
    on = _on_and_off(clip)
    edges = [0, *np.nonzero(np.diff(on))[0] + 1, len(on)]
    return [(bool(on[a]), int(b - a)) for a, b in pairwise(edges)]


@pytest.mark.parametrize("kind", Tone)
def test_each_tone_is_long_enough_and_in_the_band(kind: Tone) -> None:
    """MIL-STD-1472E 5.3: at least 0.5 s, 500 to 3,000 Hz; 98 % of the energy lies there."""
    clip = tone_clip(kind)
    assert clip.seconds >= 0.5
    power = np.abs(np.fft.rfft(clip.pcm.astype(float))) ** 2
    hertz = np.fft.rfftfreq(len(clip.pcm), 1 / clip.rate)
    inside = power[(hertz >= 480) & (hertz <= 3050)].sum() / power.sum()
    assert inside > 0.98
    assert np.abs(clip.pcm.astype(int)).max() < 20_000


@pytest.mark.parametrize(("one", "other"), list(combinations(Tone, 2)))
def test_tones_differ_by_rhythm_and_pitch_within_half_a_second(one: Tone, other: Tone) -> None:
    """MIL-STD-1472E 5.3: the first half second differs; by rhythm too, for who hears no pitch."""
    first, second = (_on_and_off(tone_clip(kind))[:50] for kind in (one, other))
    assert np.mean(first != second) > 0.15
    spectra = []
    for kind in (one, other):
        spectrum = np.abs(np.fft.rfft(tone_clip(kind).pcm[:HALF_SECOND].astype(float), HALF_SECOND))
        spectra.append(spectrum / np.linalg.norm(spectrum))
    assert float(spectra[0] @ spectra[1]) < 0.5


def test_no_tone_beats_like_a_back_up_alarm() -> None:
    """Hazard: a tone taken for another truck backing; none is near 1,250 Hz nor beats once a second."""
    for kind in Tone:
        clip = tone_clip(kind)
        power = np.abs(np.fft.rfft(clip.pcm.astype(float))) ** 2
        hertz = np.fft.rfftfreq(len(clip.pcm), 1 / clip.rate)
        assert power[(hertz > 1150) & (hertz < 1350)].sum() / power.sum() < 0.02
        assert max(length for on, length in _lengths(clip) if on) < 45
