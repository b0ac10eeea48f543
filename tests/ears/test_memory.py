"""Memory that is free goes back to the system, so that a night of listening ends with what it began with."""

from __future__ import annotations

import platform
from pathlib import Path

import pytest

from assistant.ears import memory
from assistant.ears.memory import give_back

BLOCK = 100_000  # bytes: small enough that the C library keeps it when it is freed
COUNT = 2_000


def resident() -> int:
    """Bytes that this process holds."""
    return int(Path("/proc/self/statm").read_text("ascii").split()[1]) * 4096


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


def test_a_system_that_cannot_be_asked_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Hazard: listening fails on a system whose C library knows nothing of it."""
    monkeypatch.setattr(memory, "_trim", lambda: None)
    assert not give_back()
