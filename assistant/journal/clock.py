"""The two clocks of a run: what the wall says, and a steady count that nobody can set."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from functools import lru_cache
from typing import Protocol


class TwoClocks(Protocol):
    """Wall and steady time, both in whole milliseconds."""

    def wall(self) -> int:
        """Milliseconds since 1970-01-01 UTC; may jump when somebody sets the clock."""

    def mono(self) -> int:
        """Milliseconds since some fixed moment; never goes back."""


class SystemClocks:
    """The machine's clocks; the steady one counts through sleep where the system has such a clock."""

    def __init__(self) -> None:
        self._steady = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)

    def wall(self) -> int:
        """Milliseconds since 1970-01-01 UTC."""
        return time.time_ns() // 1_000_000

    def mono(self) -> int:
        """Milliseconds since the machine started."""
        return time.clock_gettime_ns(self._steady) // 1_000_000


_THOUSANDTHS = tuple(f".{ms:03d}Z" for ms in range(1000))


def stamp(wall_ms: int) -> str:
    """Return a wall time as ISO 8601 in UTC with milliseconds: "2031-05-04T06:07:08.009Z"."""
    return f"{_to_the_second(wall_ms // 1000)}{_THOUSANDTHS[wall_ms % 1000]}"


@lru_cache(maxsize=16)  # records come several to the second, and each waits for this
def _to_the_second(seconds: int) -> str:
    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%S}"


def unstamp(text: str) -> int:
    """Return the milliseconds since 1970 of a `stamp`; ValueError when it is none."""
    moment = datetime.fromisoformat(text)
    return int(moment.timestamp()) * 1000 + moment.microsecond // 1000
