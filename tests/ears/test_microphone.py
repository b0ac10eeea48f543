"""The microphone that is pulled out, mute, overdriven or deaf for its own voice is told, never papered over."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.ears.base import Samples, Signal, Verdict
from assistant.ears.fusion import Pair
from assistant.ears.mic_child import pick
from assistant.ears.microphone import MicrophoneEars, Watch
from assistant.phrases.live import Hearing, Live, Unheard
from tests.ears.conftest import Clip

LIVE = Live("en", {"jaw-closed": ("jaw closed",)})
QUICK = Watch(dead=1.0, silent=1.0, clipped=0.8, retry=0.2, tail=0.3)
PATIENCE = 40.0


class Whole:
    """A recogniser that takes every utterance for one phrase: the microphone is tested, not hearing."""

    name = "whole"

    def recognise(self, samples: Samples, live: Live) -> Verdict:  # noqa: ARG002
        """Take anything for the first phrase."""
        return Verdict(next(iter(live.phrases)), "jaw closed")

    def close(self) -> None:
        """Nothing to free."""


class Plug:
    """The other end of a stand-in microphone: plays sound into a named pipe in real time."""

    def __init__(self, path: Path) -> None:
        self.path = path
        os.mkfifo(path)
        self._out = threading.Event()
        self._next: list[bytes] = []
        self._floor = b""
        self._thread: threading.Thread | None = None

    def plug_in(self, floor: Samples) -> None:
        """Begin to send; ``floor`` is repeated whenever nothing is played."""
        self._floor = floor.tobytes()
        self._out.clear()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def play(self, sound: Samples) -> None:
        """Send this once."""
        self._next.append(sound.tobytes())

    def pull_out(self) -> None:
        """Close the pipe as a pulled plug does."""
        self._out.set()
        if self._thread is not None:
            self._thread.join(10)

    def _send(self) -> None:
        with self.path.open("wb", buffering=0) as pipe:
            while not self._out.is_set():
                data = self._next.pop(0) if self._next else self._floor
                for at in range(0, len(data), 3200):
                    if self._out.is_set():
                        return
                    try:
                        pipe.write(data[at : at + 3200])
                    except BrokenPipeError:
                        return
                    time.sleep(len(data[at : at + 3200]) / 32_000)


def quiet(seconds: float = 0.5) -> Samples:
    """Room sound: never exactly zero."""
    return np.random.default_rng(1).integers(-12, 13, int(seconds * 16_000), np.int16)


@pytest.fixture
def plug(tmp_path: Path) -> Iterator[Plug]:
    """A stand-in device."""
    made = Plug(tmp_path / "mic")
    yield made
    made.pull_out()


@pytest.fixture
def ears(plug: Plug) -> Iterator[MicrophoneEars]:
    """A microphone on the stand-in device."""
    made = MicrophoneEars(Pair(Whole()), f"pipe:{plug.path}", QUICK)
    yield made
    made.close()


def wait_for(ears: MicrophoneEars, wanted: Signal | None) -> Hearing | Signal:
    """Listen until the wanted signal, or (None) a hearing, comes."""
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        heard = ears.listen(LIVE, 0.5)
        if heard is wanted or (wanted is None and isinstance(heard, Hearing)):
            return heard
    raise AssertionError(f"{wanted} never came; {ears.status}")


def test_a_pulled_plug_is_told_and_so_is_its_return(plug: Plug, ears: MicrophoneEars, clip: Clip, voices) -> None:
    """Nothing advances while nobody can be heard: LOST, then BACK, then hearing again."""
    plug.plug_in(quiet())
    plug.play(clip("jaw closed", voices[0]))
    heard = wait_for(ears, None)
    assert isinstance(heard, Hearing)
    assert heard.phrase == "jaw-closed"
    assert "16000" in ears.status
    plug.pull_out()
    wait_for(ears, Signal.LOST)
    assert "check its plug" in ears.status
    plug.plug_in(quiet())
    wait_for(ears, Signal.BACK)
    plug.play(clip("jaw closed", voices[0]))
    assert isinstance(wait_for(ears, None), Hearing)


def test_digital_silence_is_a_lost_microphone(plug: Plug, ears: MicrophoneEars) -> None:
    """A muted microphone sends exact zeros: it must not look like a patient driver."""
    plug.plug_in(np.zeros(8_000, np.int16))
    wait_for(ears, Signal.LOST)
    assert "silent" in ears.status
    plug.pull_out()
    plug.plug_in(quiet())
    wait_for(ears, Signal.BACK)


def test_an_overdriven_microphone_is_lost(plug: Plug, ears: MicrophoneEars) -> None:
    """A signal at the stops for long carries no answer."""
    square = np.where(np.arange(8_000) % 80 < 40, 32_767, -32_768).astype(np.int16)
    plug.plug_in(square)
    wait_for(ears, Signal.LOST)
    assert "overdriven" in ears.status


def test_deaf_to_its_own_voice(plug: Plug, ears: MicrophoneEars, clip: Clip, voices) -> None:
    """What the assistant says must not come back as the driver's answer."""
    plug.plug_in(quiet())
    plug.play(clip("jaw closed", voices[0]))
    assert isinstance(wait_for(ears, None), Hearing)
    ears.mute()
    sound = clip("jaw closed", voices[0])
    plug.play(sound)
    assert ears.listen(LIVE, len(sound) / 16_000 + 1.5) is Signal.NOTHING
    ears.unmute()
    plug.play(quiet(0.6))
    plug.play(sound)
    assert isinstance(wait_for(ears, None), Hearing)


def test_lost_samples_damage_the_answer() -> None:
    """An answer with a hole in it could be another answer."""
    from assistant.ears.utterances import Utterance

    sound = Utterance(np.random.default_rng(2).integers(-3000, 3000, 16_000, np.int16), 0.0, 1.0, -60.0)
    assert Pair(Whole()).hear(sound, LIVE, damaged=True).unheard is Unheard.DAMAGED
    assert Pair(Whole()).hear(sound, LIVE).unheard is not Unheard.DAMAGED


def test_a_device_is_chosen_by_name() -> None:
    """Indices change when something is plugged in; the name does not."""
    devices = [
        {"name": "HDMI 0", "max_input_channels": 0},
        {"name": "Webcam Mono", "max_input_channels": 1},
        {"name": "Headset BT", "max_input_channels": 1},
    ]
    assert pick(devices, "headset") == 2
    assert pick(devices, "") is None
    with pytest.raises(OSError, match="Webcam Mono, Headset BT"):
        pick(devices, "hdmi")
