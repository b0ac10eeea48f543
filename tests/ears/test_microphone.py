"""The microphone that is pulled out, mute or overdriven is told, never papered over."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.ears.base import SAMPLE_RATE, Samples, Signal, Verdict
from assistant.ears.mic_child import pick
from assistant.ears.microphone import MicrophoneEars, Watch
from assistant.ears.words_only import WordsOnly
from assistant.phrases.live import Hearing, Live, Unheard
from tests.ears.conftest import Clip
from tests.ears.slow_child import slow_run

LIVE = Live("en", {"jaw-closed": ("jaw closed",)})
QUICK = Watch(dead=1.0, silent=1.0, clipped=0.8, retry=0.2)
PATIENCE = 20.0


class Whole:
    """A recogniser that takes every utterance for one phrase: the microphone is tested, not hearing."""

    name = "whole"

    def __init__(self) -> None:
        self.lengths: list[float] = []

    def recognise(self, samples: Samples, live: Live) -> Verdict:
        """Take anything for the first phrase."""
        self.lengths.append(len(samples) / SAMPLE_RATE)
        return Verdict(next(iter(live.phrases)), "jaw closed")

    def close(self) -> None:
        """Nothing to free."""


class Cold(WordsOnly):
    """Ears that can use so many quiet moments; notes whether somebody spoke in each."""

    def __init__(self, moments: int) -> None:
        super().__init__(Whole())
        self.moments = moments
        self.spoken: list[bool] = []
        self.speaking: Callable[[], bool] = lambda: False

    def warm(self, live: Live) -> bool:
        """Use one."""
        del live
        self.spoken.append(self.speaking())
        return len(self.spoken) < self.moments


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
def recogniser() -> Whole:
    """What listens behind the microphone."""
    return Whole()


@pytest.fixture
def ears(plug: Plug, recogniser: Whole) -> Iterator[MicrophoneEars]:
    """A microphone on the stand-in device."""
    made = MicrophoneEars(WordsOnly(recogniser), f"pipe:{plug.path}", QUICK)
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


def test_a_microphone_that_opens_slowly_comes_back(
    plug: Plug, recogniser: Whole, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: on a slow tablet the device is given up and begun anew before it is open, for ever."""
    monkeypatch.setattr("assistant.ears.microphone.run", slow_run)
    slow = Watch(dead=0.1, silent=5.0, retry=0.05)  # its process takes longer to start than this
    made = MicrophoneEars(WordsOnly(recogniser), f"pipe:{plug.path}", slow)
    plug.plug_in(quiet())
    assert wait_for(made, Signal.LOST) is Signal.LOST
    assert wait_for(made, Signal.BACK) is Signal.BACK
    made.close()


def test_what_was_found_in_the_pause_stands_when_nothing_follows(
    plug: Plug, ears: MicrophoneEars, recogniser: Whole, clip: Clip, voices
) -> None:
    """Promise: a quick answer. The ears are asked in the pause, once, and not again at its end."""
    plug.plug_in(quiet())
    plug.play(clip("jaw closed", voices[0]))
    heard = wait_for(ears, None)
    assert isinstance(heard, Hearing)
    assert len(recogniser.lengths) == 1
    assert ears.last_samples is not None
    assert len(ears.last_samples) / SAMPLE_RATE == recogniser.lengths[0]


def test_what_was_found_in_a_short_pause_falls_when_speech_goes_on(
    plug: Plug, ears: MicrophoneEars, recogniser: Whole, clip: Clip, voices
) -> None:
    """Hazard: "jaw … closed" is answered after "jaw": half a phrase must not count while the rest comes."""
    plug.plug_in(quiet())
    said = clip("jaw closed", voices[0])
    loud = np.flatnonzero(np.abs(said) > 800)
    half = said[: loud[-1]]
    plug.play(np.concatenate([half, quiet(0.22), said[loud[0] :]]))
    heard = wait_for(ears, None)
    assert isinstance(heard, Hearing)
    assert recogniser.lengths[-1] > 1.5 * recogniser.lengths[0]
    assert heard.end - heard.start > 1.5 * recogniser.lengths[0] - 0.3


def test_ears_that_are_cold_get_the_quiet_moments_and_no_others(plug: Plug, clip: Clip, voices) -> None:
    """Hazard: the first answers come late, or a "stop" waits while the ears get ready for what may come."""
    cold = Cold(moments=60)
    ears = MicrophoneEars(cold, f"pipe:{plug.path}", QUICK)
    cold.speaking = lambda: ears.speaking
    plug.plug_in(quiet())
    plug.play(clip("jaw closed", voices[0]))
    assert isinstance(wait_for(ears, None), Hearing)
    for _ in range(8):
        ears.listen(LIVE, 0.5)
    ears.close()
    assert len(cold.spoken) == cold.moments, "asked until nothing is left, and no more"
    assert not any(cold.spoken)


def test_lost_samples_damage_the_answer() -> None:
    """An answer with a hole in it could be another answer."""
    from assistant.ears.utterances import Utterance

    sound = Utterance(np.random.default_rng(2).integers(-3000, 3000, 16_000, np.int16), 0.0, 1.0, -60.0)
    assert WordsOnly(Whole()).hear(sound, LIVE, damaged=True).unheard is Unheard.DAMAGED
    assert WordsOnly(Whole()).hear(sound, LIVE).unheard is not Unheard.DAMAGED


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
