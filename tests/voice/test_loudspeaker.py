"""The loudspeaker: its child process, broken in every way, and real PortAudio where it can be had.

The last tests start a private PulseAudio server with a loudspeaker that is recorded, and play through
sounddevice for real; they are skipped where PulseAudio and its ALSA plug-in are not installed.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError
from assistant.voice import sink as sink_module
from assistant.voice.clip import Clip
from assistant.voice.play_child import find_device
from assistant.voice.sink import SpeakerSink

GREET = """
import json, sys, time
sys.stdin.readline()
print(json.dumps({'ok': True, 'rate': 22050, 'device': 'x'}), flush=True)
"""
BREAKS = {
    "takes no sound": "time.sleep(600)",
    "ends": "sys.exit(0)",
    "talks rubbish": "print('?', flush=True)",
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_player_is_told_after_a_second_try(
    name: str, hum: Clip, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: PortAudio hangs when a device goes; the child is killed and the failure is a sentence."""
    monkeypatch.setattr(sink_module, "_BEAT_SECONDS", 0.3)
    script = f"open({str(tmp_path / 'tries')!r}, 'a').write('x')\n{GREET}{BREAKS[name]}"
    speaker = SpeakerSink(command=[sys.executable, "-c", script])
    played = speaker.play(hum, threading.Event())
    assert not played.ended
    assert played.trouble.endswith(".")
    assert (tmp_path / "tries").read_text() == "xx"
    speaker.close()


def test_a_player_that_ignores_a_cut_is_killed(hum: Clip) -> None:
    """Promise: silence comes even when the player hangs, because its process ends."""
    beats = "while True:\n    print(json.dumps({'beat': True}), flush=True)\n    time.sleep(0.05)"
    speaker = SpeakerSink(command=[sys.executable, "-c", GREET + beats])
    speaker.open()
    child = speaker._child
    stop = threading.Event()
    threading.Timer(0.2, stop.set).start()
    played = speaker.play(hum, stop)
    assert not played.ended
    assert not played.trouble
    assert child is not None
    assert not child.alive


def test_a_player_that_does_not_start_is_a_device_error() -> None:
    """Promise: no PortAudio, no device, no program: one sentence that says what to do."""
    for command in (["/nowhere/program"], [sys.executable, "-c", "import sys; sys.exit(1)"]):
        with pytest.raises(DeviceError, match="Plug one in"):
            SpeakerSink(command=command).open()


class _Devices:
    """A list of sound devices, as sounddevice reports one."""

    def __init__(self, *names: str) -> None:
        self._found = [{"name": "Microphone", "max_output_channels": 0}]
        self._found += [{"name": name, "max_output_channels": 2} for name in names]

    def query_devices(self) -> list[dict[str, object]]:
        """Return all devices."""
        return list(self._found)


def test_a_loudspeaker_is_found_by_name() -> None:
    """Hazard: numbers change on replugging; the name decides, and a doubtful name is refused."""
    devices = _Devices("Cab speaker", "Cab speaker 2", "HDMI")
    assert find_device(devices, "Cab speaker") == 1
    assert find_device(devices, "hdmi") == 3
    assert find_device(devices, "") is None
    for name, reason in (("cab", "more than one"), ("Microphone", "no sound output called"), ("7", "HDMI")):
        with pytest.raises(ValueError, match=reason):
            find_device(devices, name)
    with pytest.raises(ValueError, match="no sound output"):
        find_device(_Devices(), "")


class Recorder:
    """What the recorded loudspeaker of a private sound server plays, at 48 kHz."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [
                "parec",
                "-d",
                "cab.monitor",
                "--rate=48000",
                "--channels=1",
                "--format=s16le",
                "--latency-msec=10",
            ],
            stdout=subprocess.PIPE,
        )
        self._data = bytearray()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        while piece := self._process.stdout.read(960):
            self._data += piece

    def seconds_of_sound(self) -> float:
        """Wait until it is quiet again; return the length of all that was not, and forget it."""
        time.sleep(0.7)
        pcm = np.frombuffer(bytes(self._data[: len(self._data) // 2 * 2]), "<i2").astype(int)
        self._data.clear()
        return float((np.abs(pcm[: len(pcm) // 480 * 480]).reshape(-1, 480).max(axis=1) > 300).sum()) * 0.01

    def close(self) -> None:
        """End the recording."""
        self._process.kill()
        self._process.wait(5)


@pytest.fixture
def recorder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Recorder]:
    """Start a sound server of our own whose only loudspeaker is recorded."""
    plugin = list(Path("/usr/lib").glob("*/alsa-lib/libasound_module_pcm_pulse.so"))
    if not plugin or not shutil.which("pulseaudio") or not shutil.which("parec"):
        pytest.skip("PulseAudio, its tools or its ALSA plug-in are not installed")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("PULSE_SERVER", f"unix:{tmp_path}/p.sock")
    (tmp_path / ".asoundrc").write_text("pcm.!default { type pulse }\npcm.cabspeaker { type pulse }\n")
    server = subprocess.Popen(
        [
            *("pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"),
            *("-L", f"module-native-protocol-unix socket={tmp_path}/p.sock auth-anonymous=1"),
            *("-L", "module-null-sink sink_name=cab rate=48000"),
        ],
        stderr=subprocess.DEVNULL,
    )
    end = time.monotonic() + 20
    while not (tmp_path / "p.sock").exists() and time.monotonic() < end:
        time.sleep(0.05)
    found = Recorder()
    time.sleep(0.5)
    yield found
    found.close()
    server.terminate()
    server.wait(10)


def test_real_sound_is_played_to_its_end_and_cut(recorder: Recorder, hum: Clip) -> None:
    """Promise: the receipt "ended" means the whole clip came out; after a cut the rest did not."""
    speaker = SpeakerSink("cabspeaker")
    speaker.open()
    assert speaker.name == "cabspeaker"
    whole = speaker.play(hum, threading.Event())
    assert whole.ended
    assert recorder.seconds_of_sound() == pytest.approx(hum.seconds, abs=0.1)
    stop = threading.Event()
    long = Clip(np.tile(hum.pcm, 8), hum.rate)
    threading.Timer(0.5, stop.set).start()
    cut = speaker.play(long, stop)
    assert not cut.ended
    assert not cut.trouble
    assert 0 < recorder.seconds_of_sound() < 4
    again = speaker.play(hum, threading.Event())
    assert again.ended
    assert recorder.seconds_of_sound() == pytest.approx(hum.seconds, abs=0.1)
    speaker.close()
