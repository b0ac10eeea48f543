"""A piece of sound in memory, read from a WAV file with suspicion.

The synthesiser reports success when it wrote nothing, a header alone, or silence; so a file counts
only after its samples were read and found long and loud enough for the text they should carry.
"""

from __future__ import annotations

import wave
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Pcm = NDArray[np.int16]
"""Mono 16-bit samples, shape (n,)."""

# Measured with espeak-ng 1.51 at 165 words a minute: English prompts take 0.066 to 0.20 s a letter,
# Korean 0.20 to 0.43 s a syllable; both scale with the rate. A half of the shortest is suspicious.
_SECONDS_A_LETTER = 0.066
_SECONDS_A_SYLLABLE = 0.20
_MEASURED_RATE = 165
_SHORTEST = 0.5
_LONGEST = 6.0
_PAUSES = 3.0
_SILENT_PEAK = 330  # 1 % of full scale


@dataclass(frozen=True, slots=True)
class Clip:
    """Mono sound: ``pcm`` samples at ``rate`` Hz."""

    pcm: Pcm
    rate: int

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return len(self.pcm) / self.rate


@dataclass(frozen=True, slots=True)
class Failure:
    """Why there is no sound, as one plain sentence. A value, because the session must go on."""

    reason: str


def read_wav(path: Path) -> Clip | Failure:
    """Read a mono 16-bit PCM WAV file; say what is wrong with any other."""
    try:
        with wave.open(str(path), "rb") as file:
            if file.getnchannels() != 1 or file.getsampwidth() != 2:
                return Failure(f"{path.name} is not 16-bit mono sound.")
            data = file.readframes(file.getnframes())
            rate = file.getframerate()
            told = file.getnframes()
    except FileNotFoundError:
        return Failure("No sound file was written.")
    except (OSError, EOFError, wave.Error) as why:
        return Failure(f"{path.name} is no readable WAV file ({why or 'it ends too early'}).")
    if len(data) != told * 2:
        return Failure(f"{path.name} ends before its own header says.")
    return Clip(np.frombuffer(data, dtype="<i2").astype(np.int16), rate)


def write_wav(path: Path, clip: Clip) -> None:
    """Write ``clip`` as a mono 16-bit WAV file; raises OSError."""
    # Opened here: wave.open complains to standard error by itself when a path cannot be opened.
    with path.open("wb") as raw, wave.open(raw, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(clip.rate)
        file.writeframes(clip.pcm.astype("<i2").tobytes())


def doubt(clip: Clip, text: str, words_a_minute: int) -> str:
    """Return why ``clip`` can hardly be ``text`` spoken in full, or "" when it can."""
    syllables = sum("\uac00" <= char <= "\ud7a3" for char in text)
    letters = sum(char.isalnum() for char in text) - syllables
    expected = letters * _SECONDS_A_LETTER + syllables * _SECONDS_A_SYLLABLE
    expected *= _MEASURED_RATE / words_a_minute
    if clip.seconds < expected * _SHORTEST or not len(clip.pcm):
        return f"The spoken text lasts {clip.seconds:.1f} s where about {expected:.1f} s were expected."
    if clip.seconds > expected * _LONGEST + _PAUSES:
        return f"The spoken text lasts {clip.seconds:.1f} s, far more than its {expected:.1f} s."
    if int(np.abs(clip.pcm.astype(np.int32)).max()) < _SILENT_PEAK:
        return "The spoken text is silent."
    return ""
