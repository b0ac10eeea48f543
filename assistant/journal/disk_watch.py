"""A disk that keeps a run waiting: noticed while it does, from a thread of its own.

A write that hangs holds the session's thread, so that nobody could say why nothing happens. The
record of it, `Device` "disk" "slow", is the writer's and comes when the write has ended.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Self

from assistant.journal.writer import SLOW_S, Writer

_LOOK_S = 0.25  # how often it is looked at


class DiskWatch:
    """Calls ``tell`` once for each write that is under way for longer than `SLOW_S` seconds.

    A context manager. ``tell`` is called on the watch's thread while the session's waits.
    """

    def __init__(self, writer: Writer, tell: Callable[[], None]) -> None:
        self._writer = writer
        self._tell = tell
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._watch, name="disk-watch", daemon=True)

    def __enter__(self) -> Self:
        """Begin to watch."""
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        """End the watch."""
        self._end.set()
        self._thread.join(2.0)

    def _watch(self) -> None:
        told = None
        while not self._end.wait(min(_LOOK_S, SLOW_S)):
            since = self._writer.writing_since
            if since is not None and since != told and time.monotonic() - since > SLOW_S:
                told = since
                self._tell()
