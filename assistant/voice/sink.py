"""Where sound goes: the boundary, and the loudspeaker behind a child process.

PortAudio can hang for good when a device is lost, keeps the device list of its start, and cannot
say that a device has gone. So it lives in a child process of its own: a fresh child sees a device
that was plugged in again, and silence is always one kill away.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import soxr

from assistant.errors import DeviceError
from assistant.voice.child import Answer, Child, ChildError, module_command
from assistant.voice.clip import Clip

_START_SECONDS = 8.0  # opening a Bluetooth loudspeaker takes seconds
_BEAT_SECONDS = 1.5  # the child tells four times a second that the device still takes sound
_CUT_SECONDS = 0.1
_POLL_SECONDS = 0.005  # how late a cut may be noticed
_WHAT = "the loudspeaker player"


@dataclass(frozen=True, slots=True)
class Played:
    """Receipt of one clip: ``ended`` only when its last sample left; ``trouble`` one sentence or ""."""

    seconds: float
    ended: bool
    trouble: str = ""


class Sink(Protocol):
    """Plays one clip at a time."""

    def play(self, clip: Clip, stop: threading.Event) -> Played:
        """Play to the end, or until ``stop`` is set: silent within 150 ms then. Never raises."""

    def close(self) -> None:
        """Free the device."""


class SpeakerSink:
    """The loudspeaker called ``device`` ("": the machine's own choice)."""

    def __init__(self, device: str = "", command: Sequence[str] | None = None) -> None:
        self._device = device
        self._command = command or module_command("assistant.voice.play_child")
        self._child: Child | None = None
        self._rate = 0
        self.name = ""

    def open(self) -> None:
        """Start the player; raises DeviceError saying why there is no loudspeaker."""
        try:
            self._start()
        except ChildError as why:
            raise DeviceError(f"No loudspeaker: {why} Plug one in, or use --voice file:FOLDER.") from None

    def play(self, clip: Clip, stop: threading.Event) -> Played:
        """Play ``clip``; after a failure once more from its start in a fresh player."""
        trouble = ""
        for _ in range(2):
            if stop.is_set():
                return Played(0.0, ended=False)
            try:
                return self._play(self._start(), clip, stop)
            except ChildError as why:
                trouble = str(why)
                self.close()
        return Played(0.0, ended=False, trouble=trouble)

    def close(self) -> None:
        """End the player."""
        if self._child is not None:
            self._child.kill()
            self._child = None

    def _start(self) -> Child:
        if self._child is not None and self._child.alive:
            return self._child
        self.close()
        child = Child(self._command, _WHAT)
        try:
            child.send({"device": self._device})
            answer = child.answer(_START_SECONDS)
            if not answer.get("ok"):
                raise ChildError(str(answer.get("why", "it gave no reason.")))
            self._rate, self.name = int(answer.get("rate", 0)), str(answer.get("device", ""))
        except ChildError:
            child.kill()
            raise
        self._child = child
        return child

    def _play(self, child: Child, clip: Clip, stop: threading.Event) -> Played:
        pcm = clip.pcm if clip.rate == self._rate else soxr.resample(clip.pcm, clip.rate, self._rate)
        data = pcm.astype("<i2").tobytes()
        while child.poll(0.0) is not None:  # beats of the idle time
            pass
        child.send({"play": len(data)}, data)
        last_beat = began = time.monotonic()
        longest = clip.seconds + _BEAT_SECONDS + 1.0
        while not stop.is_set():
            answer = child.poll(_POLL_SECONDS)
            now = time.monotonic()
            if answer is not None and "ended" in answer:
                return self._receipt(answer)
            if answer is not None and answer.get("beat"):
                last_beat = now
            if now - last_beat > _BEAT_SECONDS or now - began > longest:
                raise ChildError("The loudspeaker takes no more sound.")
        return self._cut(child)

    def _cut(self, child: Child) -> Played:
        """Ask for silence; a player that does not confirm at once is killed, which is silence too."""
        try:
            child.send({"cut": True})
            until = time.monotonic() + _CUT_SECONDS
            while (left := until - time.monotonic()) > 0:
                answer = child.poll(left)
                if answer is not None and "ended" in answer:
                    return self._receipt(answer)
        except ChildError:
            pass
        self.close()
        return Played(0.0, ended=False)

    def _receipt(self, answer: Answer) -> Played:
        return Played(int(answer.get("frames", 0)) / self._rate, ended=bool(answer["ended"]))
