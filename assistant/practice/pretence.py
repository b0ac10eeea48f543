"""Clocks and a voice that need no time, for runs made by the thousand: time passes when somebody lets it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from assistant.voice.base import How, Line, Progress, Receipt, Spoken, Tone
from assistant.voice.loudness import Change

MS_A_LETTER: Final = 62  # about 160 words a minute, as the assistant's own voice speaks: measured on its prompts
LINE_PAUSE_MS: Final = 250


class PretenceClocks:
    """Both clocks of a run, moved by hand; ``passed`` is told of every move, in ms."""

    def __init__(self, wall_ms: int, passed: Callable[[int], None] = lambda _ms: None) -> None:
        self._wall = wall_ms
        self._mono = 0
        self.passed = passed

    def advance(self, ms: int) -> None:
        """Let time pass."""
        self._mono += ms
        self.passed(ms)

    def set_wall(self, by_ms: int) -> None:
        """Set the wall clock on or back, as somebody with the tablet in hand can."""
        self._wall += by_ms

    def wall(self) -> int:
        """Milliseconds since 1970."""
        return self._wall + self._mono

    def mono(self) -> int:
        """Milliseconds since the clocks were made."""
        return self._mono


class PretenceVoice:
    """Says every line to its end, without a sound, in the time it would take."""

    speaking = firm = False

    def __init__(self, clocks: PretenceClocks) -> None:
        self._clocks = clocks

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Let the time of speaking pass, and report every line as spoken."""
        receipt = Receipt(lines)
        for line in lines:
            ms = LINE_PAUSE_MS + MS_A_LETTER * len(line.text)
            self._clocks.advance(ms)
            receipt.add(Spoken(line, How.SPOKEN, ms / 1000))
        return receipt

    def cut(self) -> None:
        """Cut nothing: every line has ended by the time anybody speaks."""

    def halt(self) -> None:
        """Silence nothing, for the same reason."""

    def tone(self, kind: Tone) -> None:
        """Make no sound."""

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:  # noqa: ARG002
        """Need no preparing."""
        return {}

    def adjust(self, change: Change) -> bool:  # noqa: ARG002
        """Change nothing."""
        return False

    def follow_noise(self, dbfs: float) -> None:
        """Ignore the noise."""

    def close(self) -> None:
        """Have nothing to free."""
