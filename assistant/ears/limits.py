"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit`` on 768 of its clips: six synthetic voices under nine
noises at 20, 10 and 5 dB, half of the human recordings; among them talk, phrases that did not count,
and phrases with more around them. The report uses other voices, sentences and recordings. The limits
were set by eye on the fitting clips: there, of what was no answer only phrases with more around them
had odds above 0, and none that was critical above 2. The sample is small: fit again on more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 9.10,
        "first gain": 0.28,
        "first margin": -0.29,
        "first a token": 1.45,
        "first behind written": 0.34,
        "first ends": 4.98,
        "second gain": 0.41,
        "second margin": 0.48,
        "second a token": 0.22,
        "second behind written": -0.89,
        "tokens": 2.42,
        "slowness": -2.05,
        "snr": -1.72,
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

    answer: float = 0.0
    critical: float = 2.0
    reading: float = 0.5
    emergency: float = 1.0
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)


LIMITS = Limits()
