"""How the voice speaks: rate and pitch, and how loud, each changed in steps and kept within caps.

Loudness is a matter of playback, not of synthesis: prompts are kept at one level and multiplied when
played, so that "louder" makes nothing anew. The level follows the noise at the microphone, because
critical speech should stand well over it (NUREG-0700 rev. 2, 1.2.12-9: 20 dB over the speech
interference level), within a cap for the ears, and can never be turned to inaudible (MIL-STD-1472E
5.3). Neither microphone nor loudspeaker is calibrated, so levels here are relative to full scale.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from assistant.voice.clip import Clip, Pcm

Change = Literal["slower", "faster", "louder", "quieter", "higher", "lower"]

RATE_STEP, RATE_LEAST, RATE_MOST = 15, 110, 230
PITCH_STEP, PITCH_LEAST, PITCH_MOST = 10, 20, 80
GAIN_STEP_DB, GAIN_LEAST_DB, GAIN_MOST_DB = 3.0, -12.0, 9.0

PROMPT_DBFS = -23.0
"""Level of every prompt before gain: RMS over its spoken parts, in dB of full scale."""

_LOUDEST_DBFS = -11.0
"""Cap of the spoken level whatever the noise and the driver's wish."""

_QUIET_NOISE_DBFS = -55.0
_NOISE_SLOPE = 0.5  # people raise their own voice by about half the rise of the noise (from memory)
_NOISE_MOST_DB = 9.0
_KNEE = 0.7
_FRAME_SECONDS = 0.02


@dataclass(frozen=True, slots=True)
class Manner:
    """What shapes the sound itself: espeak-ng ``voice``, ``rate`` in words a minute, ``pitch`` 0-100."""

    voice: str = "en-us"
    rate: int = 155
    pitch: int = 50


@dataclass(frozen=True, slots=True)
class Settings:
    """Manner and the driver's own ``gain_db``, both within their caps."""

    manner: Manner = Manner()
    gain_db: float = 0.0

    def changed(self, change: Change) -> tuple[Settings, bool]:
        """Return the settings one step further and whether anything moved (False at a cap)."""
        manner = self.manner
        sign = 1 if change in ("faster", "louder", "higher") else -1
        if change in ("slower", "faster"):
            rate = _within(manner.rate + sign * RATE_STEP, RATE_LEAST, RATE_MOST)
            new = replace(self, manner=replace(manner, rate=int(rate)))
        elif change in ("higher", "lower"):
            pitch = _within(manner.pitch + sign * PITCH_STEP, PITCH_LEAST, PITCH_MOST)
            new = replace(self, manner=replace(manner, pitch=int(pitch)))
        else:
            gain = _within(self.gain_db + sign * GAIN_STEP_DB, GAIN_LEAST_DB, GAIN_MOST_DB)
            new = replace(self, gain_db=gain)
        return new, new != self


def _within(value: float, least: float, most: float) -> float:
    return min(max(value, least), most)


def gain_for(settings: Settings, noise_dbfs: float | None) -> float:
    """Return the gain in dB for prompts at ``PROMPT_DBFS``, given the noise level (None: unknown)."""
    noise = 0.0
    if noise_dbfs is not None and np.isfinite(noise_dbfs):
        noise = _within((noise_dbfs - _QUIET_NOISE_DBFS) * _NOISE_SLOPE, 0.0, _NOISE_MOST_DB)
    return min(settings.gain_db + noise, _LOUDEST_DBFS - PROMPT_DBFS)


def spoken_dbfs(clip: Clip) -> float:
    """Return the RMS level over the spoken parts, in dB of full scale; -inf for silence.

    Frames of 20 ms more than 30 dB under the loudest are pauses and do not count.
    """
    size = max(int(clip.rate * _FRAME_SECONDS), 1)
    whole = len(clip.pcm) // size * size
    if not whole:
        return float("-inf")
    frames = clip.pcm[:whole].astype(np.float64).reshape(-1, size) / 32768.0
    power = np.mean(frames**2, axis=1)
    spoken = power[power > power.max() * 1e-3]
    return float(10 * np.log10(spoken.mean())) if len(spoken) else float("-inf")


def levelled(clip: Clip, gain_db: float) -> Clip:
    """Return ``clip`` at ``PROMPT_DBFS`` plus ``gain_db``; peaks are rounded off, never clipped."""
    level = spoken_dbfs(clip)
    if not np.isfinite(level):
        return clip
    factor = 10 ** ((PROMPT_DBFS + gain_db - level) / 20)
    return Clip(limited(clip.pcm.astype(np.float64) / 32768.0 * factor), clip.rate)


def limited(sound: np.typing.NDArray[np.float64]) -> Pcm:
    """Return samples of any size as 16-bit ones, bent smoothly into range above the knee."""
    size = np.abs(sound)
    room = 0.98 - _KNEE
    bent = np.where(size > _KNEE, _KNEE + room * np.tanh((size - _KNEE) / room), size)
    return np.asarray(np.sign(sound) * bent * 32767.0, dtype=np.int16)
