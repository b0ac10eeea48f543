"""What one would write first: pocketsphinx with its own end-pointer and a grammar, then pyttsx3 `say`."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Sequence
from pathlib import Path

import pyttsx3
from pocketsphinx import Config, Decoder, Endpointer, get_model_path

from assistant.ears.base import SAMPLE_RATE
from benchmarks.response_parts.cab import Mouth

STAMP = "played-at"


def fake_player(folder: Path) -> None:
    """Put an ``aplay`` before all others that writes down when it was started, the sound's first sample."""
    player = folder / "aplay"
    player.write_text(f"#!/bin/sh\nexec date +%s.%N > {folder}/{STAMP}\n")
    player.chmod(player.stat().st_mode | stat.S_IXUSR)
    os.environ["PATH"] = f"{folder}:{os.environ['PATH']}"


class Baseline:
    """Hears one phrase of a closed grammar from the microphone's pipe and speaks a reply."""

    def __init__(self, folder: Path, mouth: Mouth, phrases: Sequence[str]) -> None:
        fake_player(folder)
        self._stamp = folder / STAMP
        self._pipe = mouth.path.open("rb", buffering=0)
        self._ends = Endpointer(sample_rate=SAMPLE_RATE)
        model = Path(get_model_path()) / "en-us"
        self._decoder = Decoder(Config(
            hmm=str(model / "en-us"), dict=str(model / "cmudict-en-us.dict"), lm=None, loglevel="FATAL",
        ))  # fmt: skip
        known = [one for one in phrases if all(self._decoder.lookup_word(word) for word in one.split())]
        grammar = f"#JSGF V1.0; grammar all; public <all> = {' | '.join(known)};"
        self._decoder.add_jsgf_string("all", grammar)
        self._decoder.activate_search("all")
        self._voice = pyttsx3.init()
        self._voice.say("ready")
        self._voice.runAndWait()

    def turn(self, reply: str, until: float) -> tuple[float, str]:
        """Listen until something was said, reply, and return when its first sample played and what was heard."""
        spoke = False
        while time.monotonic() < until:
            frame = self._pipe.read(self._ends.frame_bytes)
            if frame is None or len(frame) < self._ends.frame_bytes:
                continue
            before = self._ends.in_speech
            speech = self._ends.process(frame)
            if speech is None:
                continue
            if not before:
                self._decoder.start_utt()
                spoke = True
            self._decoder.process_raw(speech)
            if not self._ends.in_speech:
                self._decoder.end_utt()
                heard = self._decoder.hyp()
                self._stamp.unlink(missing_ok=True)
                self._voice.say(reply)
                self._voice.runAndWait()
                at = float(self._stamp.read_text()) - time.time() + time.monotonic()
                return at, heard.hypstr if heard else ""
        if spoke:
            self._decoder.end_utt()
        return 0.0, ""

    def close(self) -> None:
        """Let go of the pipe."""
        self._pipe.close()


