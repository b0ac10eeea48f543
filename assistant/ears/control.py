"""Control lines: what nobody says but a fault's shortest way needs; in a typed practice run only.

===================  =========================================================
``#wait 90``         that many seconds pass at once, then the clock ticks
``#power``           the program ended and was started again
``#power changed``   the same, and the procedure's files are no longer the same
``#mic lost``        the microphone is gone; ``#mic back``: it is there again
``#noise``           something was said that nobody could make out
===================  =========================================================

``hitchcall prove`` prints them. The log notes that time was put forward, and a power cut drops the
run as a real one would: what follows is typed into the run that goes on with its log.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, NoReturn

from assistant.ears.base import Ears, Signal
from assistant.journal.clock import SystemClocks

MARK: Final = "#"
_WAIT: Final = re.compile(r"#wait (\d{1,6}(?:\.\d{1,3})?)")


class PracticeClocks(SystemClocks):
    """The machine's clocks, which a practice run may put forward; both by the same, so none was "set"."""

    def __init__(self) -> None:
        super().__init__()
        self._ahead = 0

    def forward(self, milliseconds: int) -> None:
        """Let so much time have passed."""
        self._ahead += milliseconds

    def wall(self) -> int:
        """Milliseconds since 1970-01-01 UTC."""
        return super().wall() + self._ahead

    def mono(self) -> int:
        """Milliseconds on the steady clock."""
        return super().mono() + self._ahead


class PowerCut(Exception):
    """A practice script cuts the power: the run in ``folder`` is dropped where it stands.

    ``ears`` still hold the lines that follow, ``clocks`` the time put forward; ``changed`` says that
    the procedure's files are to count as changed.
    """

    def __init__(self, folder: Path, clocks: PracticeClocks, ears: Ears, *, changed: bool) -> None:
        super().__init__("power")
        self.folder, self.clocks, self.ears, self.changed = folder, clocks, ears, changed


@dataclass(frozen=True, slots=True)
class Controls:
    """What control lines do to a run: ``forward`` lets milliseconds pass, ``cut`` cuts the power and never returns.

    ``cut`` is told whether the files are to count as changed.
    """

    forward: Callable[[int], None]
    cut: Callable[[bool], NoReturn]


def is_control(line: str) -> bool:
    """Whether a typed line is meant as a control line."""
    return line.lstrip().startswith(MARK)


def obeyed(line: str, controls: Controls) -> Signal | None:
    """Do what a control line says; None for any other line, and for "#noise", which is one misheard."""
    words = " ".join(line.split())
    waited = _WAIT.fullmatch(words)
    if waited is not None:
        controls.forward(round(float(waited.group(1)) * 1000))
        return Signal.PASSED
    if words in {"#power", "#power changed"}:
        controls.cut(words != "#power")
    return {"#mic lost": Signal.LOST, "#mic back": Signal.BACK}.get(words)
