"""A loudspeaker's device made of software: takes blocks in real time and writes down when sound is heard.

Stands in for the library of the same name in the player's own process. What it is handed at one
moment is heard its buffer's length later, unless the stream is aborted first. Times go to the file
named by ``HITCHCALL_CARD``, a line each: "heard", "silent" and a moment on the monotonic clock.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from typing import Any

RATE = 48_000
_FACTS = {"name": "software card", "max_output_channels": 2, "max_input_channels": 0, "default_samplerate": RATE}


class PortAudioError(Exception):
    """Never raised."""


def query_devices(device: int | None = None, kind: str = "") -> Any:
    """Return the one device there is, or all of them."""
    return [_FACTS] if device is None and not kind else _FACTS


class RawOutputStream:
    """Asks for block after block, as a device does, on a thread of its own."""

    def __init__(self, *, samplerate: int, blocksize: int, latency: float, callback: Callable[..., None], **_: Any):
        self.latency = latency
        self._block = blocksize
        self._seconds = blocksize / samplerate
        self._callback = callback
        self._sounding = False
        self._end = threading.Event()
        self._log = open(os.environ["HITCHCALL_CARD"], "a", buffering=1)  # noqa: PTH123, SIM115 - open to the end

    def __enter__(self) -> RawOutputStream:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.abort()

    def start(self) -> None:
        """Begin to ask for blocks."""
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(self._end,), daemon=True)
        self._thread.start()

    def abort(self) -> None:
        """Stop at once: what is in the buffer is not heard any more."""
        self._end.set()
        self._thread.join()
        self._note(False, time.monotonic())

    def _run(self, end: threading.Event) -> None:
        due = time.monotonic()
        while not end.is_set():
            out = bytearray(self._block * 2)
            self._callback(out, self._block, None, None)
            self._note(any(out), time.monotonic() + self.latency)
            due += self._seconds
            time.sleep(max(0.0, due - time.monotonic()))

    def _note(self, sounding: bool, at: float) -> None:
        if sounding != self._sounding:
            self._sounding = sounding
            self._log.write(f"{'heard' if sounding else 'silent'} {at:.6f}\n")
