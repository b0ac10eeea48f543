"""The microphone's own process: opens a device, sends its sound in small blocks, and nothing else.

A sound card that hangs or a driver that crashes takes only this process with it. Kinds of device:
a sound card by (part of) its name through sounddevice, or "pipe:PATH", a named pipe or file that
feeds raw 16-bit mono at 16 kHz in real time, which tests can pull out like a plug.
"""

from __future__ import annotations

import os
import select
import sys
import time
from collections.abc import Callable
from multiprocessing.queues import Queue
from queue import Full
from typing import Any

PIPE = "pipe:"
BLOCK_SECONDS = 0.02
PIPE_RATE = 16_000
BEAT_SECONDS = 0.25

Message = tuple[str, Any]
"""("open", (name, rate)), ("sound", bytes), ("lost-samples", count), ("beat", None), ("failed", sentence)."""

Send = Callable[[str, Any], None]


def run(device: str, out: Queue[Message]) -> None:
    """Feed ``out`` until the device fails or the process is ended; the child's main function."""
    overflow = 0

    def send(kind: str, body: Any) -> None:
        nonlocal overflow
        try:
            if overflow and kind == "sound":
                out.put_nowait(("lost-samples", overflow))
                overflow = 0
            out.put_nowait((kind, body))
        except Full:
            overflow += len(body) // 2 if kind == "sound" else 0

    try:
        if device.startswith(PIPE):
            _feed_pipe(device.removeprefix(PIPE), send)
        else:
            _feed_card(device, send)
    except Exception as error:
        send("failed", f"{type(error).__name__}: {error}".splitlines()[0])


def _feed_pipe(path: str, send: Send) -> None:
    """Read a named pipe or file; its end is the plug being pulled."""
    size = int(BLOCK_SECONDS * PIPE_RATE) * 2
    with open(path, "rb", buffering=0) as pipe:  # noqa: PTH123 - a raw file on purpose
        send("open", (os.path.basename(path), PIPE_RATE))  # noqa: PTH119
        while True:
            if not select.select([pipe], [], [], BEAT_SECONDS)[0]:
                send("beat", None)
                continue
            block = pipe.read(size)
            if not block:
                raise OSError("the device was unplugged")
            send("sound", block[: len(block) // 2 * 2])


def _feed_card(device: str, send: Send) -> None:
    """Open a sound card at 16 kHz, or at its own rate when it cannot, and send what it records."""
    import sounddevice  # noqa: PLC0415 - the library fails at import where PortAudio is missing

    index = pick(sounddevice.query_devices(), device)
    rate = PIPE_RATE
    try:
        sounddevice.check_input_settings(device=index, channels=1, samplerate=rate, dtype="int16")
    except sounddevice.PortAudioError:
        rate = int(sounddevice.query_devices(index, "input")["default_samplerate"])

    def take(block: Any, frames: int, _time: Any, status: Any) -> None:
        if status.input_overflow:
            send("lost-samples", frames)
        send("sound", bytes(block))

    blocks = int(BLOCK_SECONDS * rate)
    with sounddevice.RawInputStream(
        samplerate=rate, blocksize=blocks, device=index, channels=1, dtype="int16", callback=take
    ) as stream:
        send("open", (sounddevice.query_devices(index)["name"], int(stream.samplerate)))
        while stream.active:
            time.sleep(BEAT_SECONDS)
            send("beat", None)
    raise OSError("the device was unplugged")


def pick(devices: Any, wanted: str) -> int | None:
    """Return the index of the input device whose name holds ``wanted``; None for the machine's own."""
    if not wanted:
        return None
    for index, device in enumerate(devices):
        if device["max_input_channels"] > 0 and wanted.lower() in device["name"].lower():
            return index
    names = ", ".join(d["name"] for d in devices if d["max_input_channels"] > 0) or "none"
    raise OSError(f"no microphone is named {wanted!r}; there is: {names}")


def probe(device: str) -> str:
    """Return why the sound system has no such microphone, or ""."""
    try:
        import sounddevice  # noqa: PLC0415 - the library fails at import where PortAudio is missing

        devices = sounddevice.query_devices()
        index = pick(devices, device)
        sounddevice.query_devices(index, "input")
    except Exception as error:
        return str(error).splitlines()[0] if str(error) else type(error).__name__
    return ""


if __name__ == "__main__":
    found = probe(sys.argv[1] if len(sys.argv) > 1 else "")
    print(found)
    sys.exit(1 if found else 0)
