"""A microphone's process that takes its time, as on a slow tablet."""

from __future__ import annotations

import time
from multiprocessing.queues import Queue

from assistant.ears.mic_child import Message, run


def slow_run(device: str, out: Queue[Message]) -> None:
    """Begin late."""
    time.sleep(1.0)
    run(device, out)
