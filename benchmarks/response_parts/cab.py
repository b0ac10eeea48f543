"""A driver's mouth and a cab's loudspeaker made of software: real sound, in real time, with times."""

from __future__ import annotations

import os
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.voice.clip import Clip
from assistant.voice.other_voices import OtherVoice, say_with
from assistant.voice.sink import Played

BLOCK = 480  # 30 ms
NOISE_DB = -60.0  # a quiet yard: what is measured is speed, not hearing
SPOKEN_DB = -40.0  # where a word ends: the last 10 ms louder than this


class Mouth:
    """Feeds a named pipe as a microphone would, block by block, speech when asked, else noise."""

    def __init__(self, path: Path) -> None:
        os.mkfifo(path)
        self.path = path
        self.written = 0  # samples since the start
        self._noise = np.random.default_rng(7)
        self._saying: Samples = np.zeros(0, np.int16)
        self._last_word = -1
        self.word_began = self.word_ended = 0.0
        self._done = threading.Event()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._feed, daemon=True)
        self._thread.start()

    def say(self, sound: Samples, wait: bool = True) -> float:
        """Say ``sound``; return when its last word ended, on the monotonic clock."""
        loud = np.flatnonzero(np.abs(sound) > 32768 * 10 ** (SPOKEN_DB / 20))
        self._done.clear()
        self._saying, self._last_word = sound[: loud[-1] + 1], int(loud[-1])
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


@dataclass
class StampedSink:
    """A loudspeaker that plays in real time to nobody and writes down when each sound began and ended."""

    began: list[float] = field(default_factory=list)
    ended: list[float] = field(default_factory=list)
    lengths: list[float] = field(default_factory=list)
    name: str = "stamped"

    def play(self, clip: Clip, stop: threading.Event) -> Played:
        """Let the clip's time pass, or less when stopped."""
        start = time.monotonic()
        self.began.append(start)
        self.lengths.append(clip.seconds)
        stopped = stop.wait(clip.seconds)
        self.ended.append(time.monotonic())
        return Played(self.ended[-1] - start, ended=not stopped)

    def close(self) -> None:
        """Free nothing."""


def spoken_by(voice: OtherVoice, text: str, folder: Path) -> Samples:
    """Return the text spoken by another program's voice, 16 kHz mono, silence at its ends left as it came."""
    path = folder / f"{abs(hash((voice.name, text)))}.wav"
    say_with(voice, text, path)
    sound, rate = soundfile.read(path, dtype="int16")
    return np.asarray(soxr.resample(sound, rate, SAMPLE_RATE), np.int16)
