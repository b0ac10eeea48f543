"""The real command, as tests run it: what it ended with, and its errors as a person sees them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Ended:
    """How a command ended."""

    status: int
    out: str
    err: str


Hitchcall = Callable[..., Ended]


def sentence(ended: Ended) -> str:
    """The error as a person sees it: plain sentences, no traceback."""
    assert "Traceback" not in ended.err, ended.err
    assert ended.err.strip(), "an error must be told"
    told = ("hitchcall: ", "  making", "Making sure", "PRACTICE", "Usage", "Try")
    assert all(line.startswith(told) for line in ended.err.splitlines()), ended.err
    return ended.err
