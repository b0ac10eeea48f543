"""What two closed-set ears make of one sound, before anything is made of it (see ``odds.py`` and ``rule.py``)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from assistant.ears.closed_set import Ranked, Weighed


@dataclass(frozen=True, slots=True)
class Evidence:
    """Raw findings: the ranking ear's phrases and free text, and how the other ear weighs the leading ones.

    ``ranked`` and ``weighed`` are sorted, each ear's own first. The others are natural logarithms: ``contrary``
    by how much both ears together like a text that denies the leading one better than the leading one itself;
    ``elsewhere`` and ``second_elsewhere`` what hearing gains at most, in the ranking and in the weighing ear, for a
    text that does not count now; ``freely`` and ``second_freely`` what it gains for what was written freely.
    """

    ranked: tuple[Ranked, ...]
    weighed: tuple[Weighed, ...]
    written: str
    contrary: float = 0.0
    elsewhere: float = -math.inf
    second_elsewhere: float = -math.inf
    freely: float = -math.inf
    second_freely: float = -math.inf

    @property
    def leading(self) -> str:
        """The ranking ear's leading phrase, "" when nothing is live."""
        return self.ranked[0].phrase if self.ranked else ""

    @property
    def second_leading(self) -> str:
        """The phrase that the weighing ear, hearing for itself, puts first."""
        return self.weighed[0].phrase if self.weighed else ""

    @property
    def text(self) -> str:
        """The leading phrase as the ranking ear likes it best, "" when nothing is live."""
        return self.ranked[0].text if self.ranked else ""

    @property
    def agreed(self) -> bool:
        """Whether both ears put the same phrase first."""
        return self.leading == self.second_leading

    @property
    def counts_elsewhere(self) -> bool:
        """Whether both ears gain more for something that does not count now than for the leading phrase."""
        other = next((one.gain for one in self.weighed if one.phrase == self.leading), -math.inf)
        return bool(self.ranked) and self.elsewhere > self.ranked[0].gain and self.second_elsewhere > other
