"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit`` on its 1,196 clips: six synthetic voices under nine
noises at 20, 10 and 5 dB, half of the human recordings; among them talk, phrases that did not count,
and phrases with more around them. The report uses other voices, sentences and recordings. The limits
were set by eye on the fitting clips: of 342 in which a phrase led that was not said, 9 had odds above 0,
most of them a phrase with more around it; 23 of them were critical, and none of those had odds above -0.9.
So a critical answer was once taken from 1.0 on; it is from 1.5 on again since the report took one at 1.2
that had more around it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 2.13,
        "first gain": 0.95,
        "first opens": 1.59,
        "first closes": 4.57,
        "first ends": 1.78,
        "second margin": 2.18,
        "second last": 2.56,
        "contrary": -3.12,
        "snr": -0.41,
    }
)
"""Of an answer's odds; from synthetic voices."""
STOP_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 3.37,
        "first gain": 3.98,
        "first opens": 1.74,
        "first closes": 0.62,
        "first ends": 1.11,
        "second margin": 1.61,
        "second last": 1.68,
        "snr": -0.68,
    }
)
"""Of a stop's odds; from synthetic voices and people."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Figures of the rule.

    ``weights`` turn what the ears found into log-odds (see ``assistant.ears.evidence``). From
    ``answer`` on a phrase is taken, from ``critical`` a critical one, from ``emergency`` a stop, and
    from ``reading`` a number is read back.
    ``contrary``: from there on a text that denies the phrase fits so much better that none is taken.
    ``snr_db``: under this, an answer is not taken (an emergency still is). ``clipped``: share of
    samples in cut-off runs from which sound is refused.
    """

    answer: float = 0.0
    critical: float = 1.5
    reading: float = 0.5
    emergency: float = -1.0
    contrary: float = 6.0
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)
    stop_weights: Mapping[str, float] = field(default_factory=lambda: STOP_WEIGHTS)


LIMITS = Limits()
