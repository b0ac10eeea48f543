"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit --times 2`` on 2,132 clips: six synthetic voices under nine noises at
20, 10 and 5 dB, half of the human recordings; among them talk, phrases that did not count, and phrases with more
around them. The report uses other voices, sentences and recordings; but that the words around a phrase are tried at
all came from what an earlier report had shown taken. The limits were set by eye on the fitting clips. With them 8
of 360 phrases with more around them are taken, 1 of 288 that do not count, and 1 of 828 answers for another one; two
of all those are critical, both with more around them, at odds of 2.4 and 1.7.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 0.62,
        "first opens": 0.92,
        "first closes": 3.81,
        "first ends": 2.46,
        "first margin": 0.65,
        "second margin": 1.88,
        "second last": 1.74,
        "contrary": -2.85,
        "around": -2.40,
    }
)
"""Of an answer's odds; from synthetic voices."""
STOP_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 0.50,
        "first gain": 3.51,
        "first opens": 0.35,
        "first closes": 1.81,
        "first margin": 1.19,
        "second gain": 2.99,
        "second margin": 0.59,
    }
)
"""Of a stop's odds; from synthetic voices and people."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Figures of the rule.

    ``weights`` turn what the ears found into log-odds (see ``assistant.ears.evidence``). From
    ``answer`` on a phrase is taken, from ``critical`` a critical one, from ``emergency`` a stop, and
    from ``reading`` a number is read back.
    ``contrary``: from there on a text that denies the phrase fits so much better that none is taken. ``gain``:
    a phrase for which hearing gains less, in both ears together, is none, however little else fits.
    ``snr_db``: under this, an answer is not taken (an emergency still is). ``clipped``: share of
    samples in cut-off runs from which sound is refused.
    """

    answer: float = -0.5
    critical: float = 1.5
    reading: float = 0.0
    emergency: float = -0.5
    contrary: float = 6.0
    gain: float = -7.5
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)
    stop_weights: Mapping[str, float] = field(default_factory=lambda: STOP_WEIGHTS)


LIMITS = Limits()
