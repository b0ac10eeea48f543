"""The child process that plays: ``python -m assistant.voice.play_child``.

Standard input: one JSON line ``{"device": name}``, then ``{"play": bytes}`` followed by that many
bytes of 16-bit mono samples at the rate it answered with, or ``{"cut": true}``. Standard output, one
JSON object a line: ``{"ok", "rate", "device"}``, ``{"ended", "frames"}`` for each clip, and
``{"beat": true}`` four times a second while the device really takes sound.

The stream stays open and plays silence between clips: opening one takes longer than a reply may.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from typing import IO, Any

_BLOCK_SECONDS = 0.02
LATENCY_SECONDS = 0.06  # under half of the 150 ms in which a cut must be silent
_BEAT_SECONDS = 0.25
_BIGGEST = 64 * 1024 * 1024


class Player:
    """One clip at a time, fed to the device by PortAudio's own callback."""

    def __init__(self, answers: IO[str]) -> None:
        self._answers = answers
        self._write = threading.Lock()
        self._feed = threading.Lock()
        self._data = b""
        self._at = 0
        self._drain = 0
        self._busy = False
        self._taken = 0
        self._done = threading.Event()
        self._complete = True

    def answer(self, **fields: object) -> None:
        """Write one answer line."""
        with self._write:
            self._answers.write(json.dumps(fields) + "\n")
            self._answers.flush()

    def fill(self, out: Any, frames: int, _time: Any, _status: Any) -> None:
        """Copy the next samples; runs on PortAudio's thread, so it only copies."""
        self._taken += 1
        size = frames * 2
        with self._feed:
            piece = self._data[self._at : self._at + size]
            self._at += len(piece)
            if self._busy and len(piece) < size:
                # The last sample is heard only when the device's own buffer has run out.
                self._drain -= frames
                if self._drain <= 0:
                    self._busy = False
                    self._done.set()
        out[: len(piece)] = piece
        out[len(piece) :] = bytes(size - len(piece))

    def play(self, data: bytes, drain_frames: int) -> None:
        """Start a clip."""
        with self._feed:
            self._data, self._at, self._drain = data, 0, drain_frames
            self._complete = self._busy = True
            self._done.clear()

    def cut(self) -> None:
        """Go silent with the next block."""
        with self._feed:
            if self._busy:
                self._data = b""
                self._complete = self._busy = False
                self._done.set()

    def report(self) -> None:
        """Tell of the device's beats and of each clip's end; runs until the process ends."""
        seen = -1
        last = time.monotonic()
        while True:
            if self._done.wait(_BEAT_SECONDS / 5):
                self._done.clear()
                self.answer(ended=self._complete, frames=self._at // 2)
            if time.monotonic() - last >= _BEAT_SECONDS:
                last = time.monotonic()
                if self._taken != seen:
                    seen = self._taken
                    self.answer(beat=True)


def find_device(sound: Any, wanted: str) -> int | None:
    """Return the index of the output called ``wanted``; raises ValueError naming those there are.

    By name, not by number: numbers change when anything is plugged in.
    """
    outputs = {i: d["name"] for i, d in enumerate(sound.query_devices()) if d["max_output_channels"] > 0}
    if not outputs:
        raise ValueError("This machine has no sound output.")
    if not wanted:
        return None
    exact = [i for i, name in outputs.items() if name == wanted]
    near = exact or [i for i, name in outputs.items() if wanted.casefold() in name.casefold()]
    if not near or (len(near) > 1 and not exact):
        found = "more than one" if near else "no"
        names = "; ".join(outputs.values())
        raise ValueError(f"There is {found} sound output called {wanted}; there is: {names}.")
    return near[0]


def _serve(requests: IO[bytes], player: Player, sound: Any) -> None:
    wanted = str(json.loads(requests.readline())["device"])
    index = find_device(sound, wanted)
    facts = sound.query_devices(index, "output")
    rate = int(facts["default_samplerate"])
    with sound.RawOutputStream(
        samplerate=rate,
        blocksize=int(rate * _BLOCK_SECONDS),
        device=index,
        channels=1,
        dtype="int16",
        latency=LATENCY_SECONDS,
        callback=player.fill,
    ) as stream:
        player.answer(ok=True, rate=rate, device=facts["name"], latency=stream.latency)
        threading.Thread(target=player.report, daemon=True).start()
        while line := requests.readline():
            request = json.loads(line)
            if request.get("cut"):
                player.cut()
                # Not what is played next alone: what the device holds already must not be heard either.
                stream.abort()
                stream.start()
            elif 0 < (size := int(request.get("play", 0))) <= _BIGGEST:
                player.play(requests.read(size), int(stream.latency * rate))
        # The session is gone; closing a hung device could keep this process for ever.
        os._exit(0)


def main() -> int:
    """Serve until standard input ends; a missing or failing device is told in one answer."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8")
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    player = Player(answers)
    # PulseAudio and PipeWire otherwise hold up to two seconds of sound that no cut can take back.
    os.environ.setdefault("PULSE_LATENCY_MSEC", str(int(LATENCY_SECONDS * 1000)))
    try:
        import sounddevice  # noqa: PLC0415 - raises OSError where PortAudio is missing

        _serve(sys.stdin.buffer, player, sounddevice)
    except (OSError, ValueError, KeyError, ImportError) as why:
        player.answer(ok=False, why=f"{why}".rstrip(".") + ".")
        return 1
    except Exception as why:  # PortAudioError is a name only once sounddevice is loaded
        player.answer(ok=False, why=f"The sound device failed ({why}).")
        return 1
    return 0


if __name__ == "__main__":
    # A hung device must not hold up the end of the process.
    os._exit(main())
