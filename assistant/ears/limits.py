"""Every figure on which hearing decides, in one place, with where it was fitted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 5.70,
        "first gain": 2.32,
        "first margin": 2.07,
        "first a token": 0.81,
        "first behind written": 0.56,
        "first ends": 2.36,
        "second gain": 2.04,
        "second margin": 1.03,
        "second a token": 0.48,
        "second behind written": 0.23,
        "tokens": 2.58,
        "snr": -2.10,
    }
)


@dataclass(frozen=True, slots=True)
class Limits:
    """Figures of the rule.

    ``weights`` turn what the ears found into log-odds (see ``assistant.ears.evidence``). From
    ``answer`` on a phrase is taken, from ``critical`` a critical one, from ``emergency`` a stop, and
    from ``reading`` a number is read back.
    ``snr_db``: under this, an answer is not taken (an emergency still is). ``clipped``: share of
    samples in cut-off runs from which sound is refused.
    """

    answer: float = 0.5
    critical: float = 2.0
    reading: float = 4.0
    emergency: float = 0.0
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)


LIMITS = Limits()
