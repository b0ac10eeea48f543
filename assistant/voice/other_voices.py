"""Other synthetic voices of the machine: the recorded driver of the demo, and of tests.

The driver must not sound like the assistant, and one voice proves nothing about the next, so this
lists the separate programs that are installed (flite, festival, espeak-ng) and speaks with each. The
text goes in on standard input: no text can become a flag or a file name.
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import soundfile

from assistant.errors import DeviceError, InputError
from assistant.voice.clip import Clip, write_wav
from assistant.voice.loudness import levelled
from assistant.voice.speech_text import unspeakable

_SECONDS = 20.0
_FESTIVAL_FOLDERS = ("/usr/share/festival/voices", "/usr/lib/festival/voices")

Make = Callable[[Path], list[str]]


@dataclass(frozen=True, slots=True)
class OtherVoice:
    """One voice of one program: ``name`` ("flite-slt"), ``sex`` ("female", "male"), ``lang``."""

    name: str
    sex: str
    lang: str
    command: Make


def _flite(voice: str) -> Make:
    return lambda out: ["flite", "-voice", voice, "-f", "/dev/stdin", "-o", str(out)]


def _espeak(voice: str, rate: int, pitch: int) -> Make:
    return lambda out: [
        "espeak-ng", "-v", voice, "-s", str(rate), "-p", str(pitch), "--stdin", "-w", str(out)
    ]  # fmt: skip


def _festival(voice: str) -> Make:
    return lambda out: ["text2wave", "-eval", f"(voice_{voice})", "-o", str(out)]


_CANDIDATES = (
    OtherVoice("flite-slt", "female", "en", _flite("slt")),
    OtherVoice("flite-rms", "male", "en", _flite("rms")),
    OtherVoice("flite-awb", "male", "en", _flite("awb")),
    OtherVoice("flite-kal", "male", "en", _flite("kal")),
    OtherVoice("festival-kal", "male", "en", _festival("kal_diphone")),
    OtherVoice("festival-ked", "male", "en", _festival("ked_diphone")),
    OtherVoice("festival-slt", "female", "en", _festival("cmu_us_slt_arctic_hts")),
    OtherVoice("espeak-gb", "male", "en", _espeak("en-gb", 150, 45)),
    OtherVoice("espeak-us-woman", "female", "en", _espeak("en-us+f3", 150, 55)),
    OtherVoice("espeak-scotland", "male", "en", _espeak("en-gb-scotland", 145, 40)),
    OtherVoice("espeak-ko", "male", "ko", _espeak("ko", 150, 50)),
    OtherVoice("espeak-ko-woman", "female", "ko", _espeak("ko+f3", 150, 55)),
)


def _installed(voice: OtherVoice) -> bool:
    program = voice.command(Path("x"))[0]
    if shutil.which(program) is None:
        return False
    if program != "text2wave":
        return True
    wanted = voice.command(Path("x"))[2].strip("()").removeprefix("voice_")
    return any(path.is_dir() for folder in _FESTIVAL_FOLDERS for path in Path(folder).glob(f"*/{wanted}"))


def other_voices(lang: str = "en") -> tuple[OtherVoice, ...]:
    """Return the voices of ``lang`` whose program is installed, best understood first."""
    return tuple(voice for voice in _CANDIDATES if voice.lang == lang and _installed(voice))


def say_with(voice: OtherVoice, text: str, path: Path) -> Clip:
    """Write ``text`` to the WAV file ``path`` in this voice, at prompt level; return its sound.

    Raises InputError for text that may not be spoken, DeviceError when the program fails.
    """
    if why := unspeakable(text):
        raise InputError(why)
    with tempfile.TemporaryDirectory(prefix="hitchcall-driver-") as folder:
        raw = Path(folder) / "raw.wav"
        try:
            subprocess.run(
                voice.command(raw),
                input=text.encode() + b"\n",
                capture_output=True,
                timeout=_SECONDS,
                check=True,
                cwd=folder,
            )
            pcm, rate = soundfile.read(raw, dtype="int16")
        except (OSError, subprocess.SubprocessError, soundfile.SoundFileError) as why:
            raise DeviceError(f"The voice {voice.name} could not speak: {type(why).__name__}.") from None
    if not len(pcm) or pcm.ndim != 1:
        raise DeviceError(f"The voice {voice.name} spoke nothing.")
    clip = levelled(Clip(pcm, rate), 0.0)
    write_wav(path, clip)
    return clip
