"""Synthetic speakers made on the spot by programs of the machine and packages, as 16 kHz sound of one loudness."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.ears.audio import read_wav, write_wav
from benchmarks.hearing_parts import packed

SPEECH_RMS = 0.05  # of full scale: -26 dB, a voice at arm's length on a set-up microphone
TIMEOUT = 60.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Voice:
    """A speaker: the program, its name for the voice, and further arguments."""

    program: str
    name: str
    more: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "-".join((self.program, self.name, *self.more)).replace(" ", "")

    @property
    def kind(self) -> str:
        """``neural``, or ``synthetic`` for the older makes."""
        return "neural" if self.program in packed.NEURAL else "synthetic"


FIT_VOICES = (
    Voice("flite", "kal"),
    Voice("flite", "rms"),
    Voice("festival", "ked_diphone"),
    Voice("espeak-ng", "en-us", ("-s", "150")),
    Voice("espeak-ng", "en-gb-scotland", ("-s", "140")),
    Voice("espeak-ng", "en-us+f3", ("-s", "150")),
)
"""The voices of older make on which limits are fitted."""
FIT_NEURAL = tuple(
    Voice("kokoro", name)
    for name in ("af_alloy", "af_bella", "af_jessica", "am_adam", "am_eric", "am_liam", "am_onyx", "bf_alice",
                 "bm_daniel", "em_alex", "hm_omega", "zm_yunjian")
)  # fmt: skip
"""Natural speakers on which limits are fitted, three of them with an accent."""

REPORT_VOICES = (
    Voice("flite", "awb"),
    Voice("flite", "slt"),
    Voice("festival", "kal_diphone"),
    Voice("festival", "cmu_us_slt_arctic_hts"),
    Voice("espeak-ng", "en-gb", ("-s", "150")),
    Voice("espeak-ng", "en-us+f2", ("-s", "165")),
    Voice("pico", "en-GB"),
    Voice("pico", "en-US"),
)
"""The voices of older make that only the report uses."""
REPORT_NEURAL = (
    *(
        Voice("kokoro", name)
        for name in ("af_aoede", "af_heart", "af_nova", "am_echo", "am_fenrir", "am_michael", "am_puck", "bf_emma",
                     "bm_fable", "bm_george", "bm_lewis", "hm_psi", "im_nicola", "zm_yunxi")
    ),
    Voice("piper", "joe"),
)  # fmt: skip
"""Natural speakers that only the report uses, three of them with an accent, one of another make."""


def there(voice: Voice) -> bool:
    """Return whether the voice's program is on this machine and makes sound."""
    program = {"festival": "text2wave"}.get(voice.program, voice.program)
    known = packed.in_place() if program in packed.PROGRAMS else shutil.which(program) is not None
    return known and len(say("stop", voice)) > 0


def present(*voices: Voice) -> list[Voice]:
    """Return those of the voices that are there."""
    return [voice for voice in voices if there(voice)]


def say(text: str, voice: Voice, cache: Path | None = None) -> Floats:
    """Return the text spoken by a voice, silence trimmed, at SPEECH_RMS of full scale; empty when it fails."""
    folder = cache if cache is not None else Path(tempfile.gettempdir()) / "hitchcall-voices"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{hashlib.sha256(f'{voice}|{text}'.encode()).hexdigest()[:24]}.wav"
    if not path.exists() and not _make(text, voice, path):
        return np.zeros(0)
    return level(read_wav(path))


def level(samples: NDArray[np.int16]) -> Floats:
    """Trim silence at both ends and bring speech to SPEECH_RMS."""
    sound = samples.astype(np.float64) / 32_768.0
    if len(sound) == 0:
        return sound
    loud = np.flatnonzero(np.abs(sound) > 0.02 * np.abs(sound).max())
    if len(loud) == 0:
        return np.zeros(0)
    sound = sound[loud[0] : loud[-1] + 1]
    return sound * (SPEECH_RMS / active_rms(sound))


def active_rms(sound: Floats) -> float:
    """Return the root mean square over the 20 ms frames that hold speech."""
    count = max(len(sound) // 320, 1)
    power = np.square(sound[: count * 320].reshape(count, -1)).mean(axis=1)
    return float(np.sqrt(power[power > power.max() * 1e-3].mean())) + 1e-12


def _make(text: str, voice: Voice, path: Path) -> bool:
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "raw.wav"
        try:
            if voice.program in packed.PROGRAMS:
                packed.make(text, voice.program, voice.name, raw)
            else:
                command, text_in = _command(text, voice, raw)
                subprocess.run(command, input=text_in, check=True, capture_output=True, timeout=TIMEOUT)
            sound = read_wav(raw)
        except (subprocess.SubprocessError, ImportError, OSError, ValueError):
            return False
        if len(sound) == 0:
            return False
        partial = path.with_suffix(f".{hashlib.sha256(str(raw).encode()).hexdigest()[:8]}")
        write_wav(partial, sound)
        partial.replace(path)
    return True


def _command(text: str, voice: Voice, raw: Path) -> tuple[list[str], bytes | None]:
    if voice.program == "flite":
        return ["flite", "-voice", voice.name, "-t", text, "-o", str(raw)], None
    if voice.program == "festival":
        return ["text2wave", "-eval", f"(voice_{voice.name})", "-o", str(raw)], text.encode()
    return ["espeak-ng", "-v", voice.name, *voice.more, "-w", str(raw), text], None
