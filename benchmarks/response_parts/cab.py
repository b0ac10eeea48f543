"""A driver's mouth and a cab's loudspeaker made of software: real sound, in real time, with times."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.voice.other_voices import OtherVoice, say_with

BLOCK = 480  # 30 ms
NOISE_DB = -60.0  # a quiet yard: what is measured is speed, not hearing
SPOKEN_DB = -40.0  # where a word ends: the last 10 ms louder than this


class Mouth:
    """Feeds a named pipe as a microphone would, block by block, speech when asked, else noise."""

    def __init__(self, path: Path) -> None:
        os.mkfifo(path)
        self.path = path
        self._noise = np.random.default_rng(7)
        self._saying: Samples = np.zeros(0, np.int16)
        self.word_began = self.word_ended = 0.0
        self._done = threading.Event()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._feed, daemon=True)
        self._thread.start()

    def say(self, sound: Samples, wait: bool = True) -> float:
        """Say ``sound``, without the silence at its ends; return when its last word ended, on the monotonic clock."""
        loud = np.flatnonzero(np.abs(sound) > 32768 * 10 ** (SPOKEN_DB / 20))
        self._done.clear()
        self.word_began = 0.0
        self._saying = sound[loud[0] : loud[-1] + 1]
        if wait:
            self._done.wait(30)
        return self.word_ended

    def close(self) -> None:
        """Pull the plug."""
        self._end.set()
        self._thread.join(5)

    def _feed(self) -> None:
        with self.path.open("wb", buffering=0) as pipe:
            due = time.monotonic()
            while not self._end.is_set():
                block = self._noise.normal(0, 32768 * 10 ** (NOISE_DB / 20), BLOCK)
                part, self._saying = self._saying[:BLOCK], self._saying[BLOCK:]
                block[: len(part)] += part
                due += BLOCK / SAMPLE_RATE
                time.sleep(max(0.0, due - time.monotonic()))
                try:
                    pipe.write(np.clip(block, -32768, 32767).astype(np.int16).tobytes())
                except BrokenPipeError:
                    return
                if len(part) and not self.word_began:
                    self.word_began = due - BLOCK / SAMPLE_RATE
                if len(part) and not len(self._saying):
                    # A device hands a block over when it is full: the word ended that much before.
                    self.word_ended = due - (BLOCK - len(part)) / SAMPLE_RATE
                    self._done.set()


class Card:
    """The loudspeaker: the real player in its own process, on a device made of software that writes down times."""

    def __init__(self, folder: Path) -> None:
        self._log = folder / "card"
        self._log.touch()
        os.environ["HITCHCALL_CARD"] = str(self._log)
        os.environ["PYTHONPATH"] = str(Path(__file__).parent / "card")

    def heard(self, after: float) -> float:
        """Return when sound was first heard after a moment; 0.0 while none was."""
        return self._first("heard", after)

    def silent(self, after: float) -> float:
        """Return when it first fell silent after a moment; 0.0 while it has not."""
        return self._first("silent", after)

    def _first(self, what: str, after: float) -> float:
        rows = (line.split() for line in self._log.read_text().splitlines())
        return next((float(row[1]) for row in rows if len(row) == 2 and row[0] == what and float(row[1]) > after), 0.0)


def spoken_by(voice: OtherVoice, text: str, folder: Path) -> Samples:
    """Return the text spoken by another program's voice, 16 kHz mono, silence at its ends left as it came."""
    path = folder / f"{abs(hash((voice.name, text)))}.wav"
    say_with(voice, text, path)
    sound, rate = soundfile.read(path, dtype="int16")
    return np.asarray(soxr.resample(sound, rate, SAMPLE_RATE), np.int16)
