"""Loudness: one level for every prompt, steps with caps, never inaudible, never past the cap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.voice.base import Line
from assistant.voice.clip import Clip
from assistant.voice.loudness import (
    GAIN_LEAST_DB,
    PROMPT_DBFS,
    Settings,
    gain_for,
    levelled,
    spoken_dbfs,
)
from assistant.voice.speech import Speech

CHANGES = ("slower", "faster", "louder", "quieter", "higher", "lower")


@pytest.mark.parametrize(
    "text", ["Stop.", "Danger. Nobody between the tractor and the trailer.", "one one zero"]
)
def test_every_prompt_comes_at_one_level(text: str, speech: Speech) -> None:
    """Promise: a short word is as loud as a long hazard, within 1 dB RMS over the spoken parts."""
    clip = speech.clip(Line("step", text, "x"))
    assert isinstance(clip, Clip)
    assert abs(spoken_dbfs(clip) - PROMPT_DBFS) < 1.0


def test_louder_in_noise_up_to_the_cap(speech: Speech) -> None:
    """NUREG-0700 1.2.12-9: speech stands over the noise; measured on the sound, without clipping."""
    levels = []
    for noise in (-70.0, -45.0, -30.0, 0.0):
        speech.noise_dbfs = noise
        clip = speech.clip(Line("step", "Set the tractor park brake.", "x"))
        assert isinstance(clip, Clip)
        assert np.abs(clip.pcm.astype(int)).max() < 32_767
        levels.append(spoken_dbfs(clip))
    assert levels == sorted(levels)
    assert levels[-1] - levels[0] > 6
    assert levels[-1] < -10


@given(st.lists(st.sampled_from(CHANGES), max_size=60), st.floats(-120, 20) | st.none())
def test_no_order_leads_out_of_the_caps(orders: list[str], noise: float | None) -> None:
    """MIL-STD-1472E 5.3: loudness cannot be turned to inaudible; nor past the cap for the ears."""
    settings = Settings()
    for order in orders:
        settings, _ = settings.changed(order)  # type: ignore[arg-type]
    assert 110 <= settings.manner.rate <= 230
    assert 20 <= settings.manner.pitch <= 80
    assert GAIN_LEAST_DB <= gain_for(settings, noise) <= 12.0


def test_a_cap_is_told() -> None:
    """Promise: "louder" that does nothing is told, not acknowledged."""
    settings, moved = Settings(), True
    for _ in range(20):
        settings, moved = settings.changed("louder")
    assert not moved


def test_digital_silence_stays_silent() -> None:
    """Promise: nothing is raised out of nothing."""
    quiet = Clip(np.zeros(1000, np.int16), 16_000)
    assert not levelled(quiet, 12.0).pcm.any()
