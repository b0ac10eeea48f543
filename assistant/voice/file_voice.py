"""The voice that is written down: each line a numbered WAV file, so that anyone can listen later."""

from __future__ import annotations

import contextlib
import re
import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soxr

from assistant.errors import InputError
from assistant.voice.base import Hooks, How, Line, Progress, Receipt, Spoken, Tone
from assistant.voice.clip import Clip, Failure, read_wav, write_wav
from assistant.voice.loudness import Change
from assistant.voice.speech import Speech

_JOINED_RATE = 22_050
_GAP_SECONDS = 0.35
_NAME_LENGTH = 48


class FileVoice:
    """Writes what is said to ``folder``: ``0007-step-set-tractor-brake.wav``, ``index.txt``,
    ``session.m3u`` and, when closed, all of it joined as ``session.wav``.

    A folder that holds an earlier session is continued, so that a resumed run stays in one piece.
    """  # noqa: D205 - the file names do not fit one line

    speaking = firm = False

    def __init__(self, speech: Speech, folder: Path, hooks: Hooks | None = None) -> None:
        self._speech = speech
        self._folder = folder
        self._hooks = hooks or Hooks()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with (folder / "index.txt").open("a", encoding="utf-8"):
                pass
        except OSError as why:
            raise InputError(
                f"Spoken lines cannot be written to {folder} ({why.strerror}); name a writable folder."
            ) from None
        numbers = [int(path.name[:4]) for path in folder.glob("[0-9][0-9][0-9][0-9]-*.wav")]
        self._number = max(numbers, default=0)

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Write each line as a file of its own, in order; the receipt is complete on return."""
        receipt = Receipt(lines)
        for line in lines:
            self._hooks.started(line)
            spoken = self._say(line)
            if spoken.reason:
                self._hooks.notice(f"Not spoken ({line.name}): {spoken.reason}")
            self._hooks.finished(spoken)
            receipt.add(spoken)
        return receipt

    def cut(self) -> None:
        """Do nothing: a written line is whole already."""

    def halt(self) -> None:
        """Do nothing, for the same reason."""

    def tone(self, kind: Tone) -> None:
        """Write a tone as a file."""
        with contextlib.suppress(OSError):
            self._write(self._speech.tone(kind), "tone", kind.value, kind.value)

    def heard(self, clip: Clip, words: str) -> None:
        """Add what the driver said, so that the joined session has both sides."""
        with contextlib.suppress(OSError):
            self._write(clip, "driver", words or "nothing understood", words)

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:
        """Make the sound of ``texts`` ready; return each text that failed with its reason."""
        return self._speech.prepare(texts, progress)

    def adjust(self, change: Change) -> bool:
        """Change how lines are spoken from the next one on; False at the cap."""
        return self._speech.adjust(change)

    def follow_noise(self, dbfs: float) -> None:
        """Ignore the noise: a recording is listened to elsewhere."""

    def close(self) -> None:
        """Join the session into one file and end the synthesiser."""
        self._speech.close()
        try:
            self._join()
        except OSError as why:
            self._hooks.notice(f"The joined session.wav could not be written: {why.strerror}.")

    def _say(self, line: Line) -> Spoken:
        clip = self._speech.clip(line)
        try:
            if isinstance(clip, Failure):
                tone = self._speech.stand_in(line)
                self._write(tone, line.kind, f"{line.text} (a tone only: {clip.reason})", line.name)
                return Spoken(line, How.TONE, tone.seconds, f"{clip.reason} The screen has the text.")
            self._write(clip, line.kind, line.text, line.name)
        except OSError as why:
            reason = f"It cannot be written to {self._folder}: {why.strerror}. The screen has the text."
            return Spoken(line, How.FAILED, 0.0, reason)
        return Spoken(line, How.SPOKEN, clip.seconds)

    def _write(self, clip: Clip, kind: str, text: str, name: str) -> None:
        number = self._number + 1
        # A name is often led by its own kind ("step-set-brake"); it is not written twice.
        label = name if name.startswith(f"{kind}-") else f"{kind}-{name}"
        plain = re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")[:_NAME_LENGTH].rstrip("-")
        path = self._folder / f"{number:04d}-{plain}.wav"
        draft = path.with_suffix(".part")
        try:
            write_wav(draft, clip)
            draft.replace(path)
        finally:
            draft.unlink(missing_ok=True)
        self._number = number
        with (self._folder / "index.txt").open("a", encoding="utf-8") as index:
            index.write(f"{path.name}\t{kind}\t{' '.join(text.split())}\n")
        with (self._folder / "session.m3u").open("a", encoding="utf-8") as playlist:
            playlist.write(f"{path.name}\n")

    def _join(self) -> None:
        gap = bytes(2 * int(_GAP_SECONDS * _JOINED_RATE))
        draft = self._folder / "session.part"
        with draft.open("wb") as raw, wave.open(raw, "wb") as joined:
            joined.setnchannels(1)
            joined.setsampwidth(2)
            joined.setframerate(_JOINED_RATE)
            for path in sorted(self._folder.glob("[0-9][0-9][0-9][0-9]-*.wav")):
                clip = read_wav(path)
                if isinstance(clip, Clip):
                    pcm = clip.pcm
                    if clip.rate != _JOINED_RATE:
                        pcm = np.asarray(soxr.resample(pcm, clip.rate, _JOINED_RATE), dtype=np.int16)
                    joined.writeframes(pcm.astype("<i2").tobytes() + gap)
        draft.replace(self._folder / "session.wav")
