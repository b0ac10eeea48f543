"""Memory that is free goes back to the system, so that a night of listening ends with what it began with."""

from __future__ import annotations

import platform
import subprocess
import sys

import numpy as np
import pytest

from assistant.ears import fusion, memory
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Live
from tests.ears.test_fusion import ranked, weighed
from tests.ears.test_pair import Told

OWN = """
import os
from pathlib import Path
from assistant.ears.memory import give_back

def resident():
    return int(Path("/proc/self/statm").read_text("ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE")

before = resident()
blocks = [bytearray(100_000) for _ in range(2_000)]  # small enough that the C library keeps them when they are freed
behind = bytearray(100_000)
full = resident()
blocks.clear()
kept = resident()
given = give_back()
print(full - before, kept - before, int(given), resident() - before)
"""
"""In a process of its own: in a large one the library serves such blocks from what it kept before."""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only GNU's C library keeps, and gives back")
def test_freed_memory_goes_back() -> None:
    """Promise: what an utterance needed is not kept for the whole run; a block behind it would hold it all."""
    told = subprocess.run([sys.executable, "-c", OWN], check=True, capture_output=True, text=True).stdout
    full, kept, given, left = map(int, told.split())
    assert full > 180_000_000
    assert kept > 100_000_000  # freed, and yet held
    assert given == 1
    assert left < 40_000_000


def test_after_each_utterance_memory_goes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Promise: a night of listening does not fill a small tablet; without it the weighing ear held a third more."""
    given: list[bool] = []
    monkeypatch.setattr(fusion, "give_back", lambda: given.append(True))
    pair = fusion.Pair(Told("a", ranked, {}), Told("b", weighed, {}))  # type: ignore[arg-type]
    for _ in range(3):
        pair.hear(Utterance(np.zeros(8_000, np.int16), 0.0, 0.5), Live("en", {}))
    pair.close()
    assert len(given) == 3


def test_a_system_that_cannot_be_asked_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hazard: listening fails on a system whose C library knows nothing of it."""
    monkeypatch.setattr(memory, "_trim", lambda: None)
    assert not memory.give_back()
