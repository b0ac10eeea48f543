"""Memory that is free goes back to the system, so that a night of listening ends with what it began with."""

from __future__ import annotations

import os
import platform
from pathlib import Path

import numpy as np
import pytest

from assistant.ears import fusion, memory
from assistant.ears.memory import give_back
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Live
from tests.ears.test_fusion import ranked, weighed
from tests.ears.test_pair import Told

BLOCK = 100_000  # bytes: small enough that the C library keeps it when it is freed
COUNT = 2_000


def resident() -> int:
    """Bytes that this process holds."""
    return int(Path("/proc/self/statm").read_text("ascii").split()[1]) * os.sysconf("SC_PAGE_SIZE")


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only GNU's C library keeps, and gives back")
def test_freed_memory_goes_back() -> None:
    """Promise: what an utterance needed is not kept for the whole run; a block behind it would hold it all."""
    before = resident()
    blocks = [bytearray(BLOCK) for _ in range(COUNT)]
    behind = bytearray(BLOCK)
    assert resident() - before > BLOCK * COUNT * 0.9
    blocks.clear()
    assert give_back()
    assert resident() - before < BLOCK * COUNT * 0.2
    assert len(behind) == BLOCK


def test_after_each_utterance_memory_goes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    """Promise: a night of listening does not fill a small tablet; without it the ears held a third more."""
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
    assert not give_back()
