"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit --times 3`` on 2,800 of its 3,068 clips (a fair cut: it was ended
there): six synthetic voices under nine noises at 20, 10 and 5 dB, half of the human recordings; among them talk,
phrases that did not count, and phrases with more around them. The report uses other voices, sentences and
recordings; but that the words around a phrase are tried at all came from what an earlier report had shown taken.
The limits were set by eye on the fitting clips. With them 12 of 487 phrases with more around them are
taken, 2 of 395 phrases that do not count, and 3 of 1,148 answers for another one; one of all those is critical, one
with more around it and odds of 2.9: no limit that leaves most of the right ones keeps it out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 0.91,
        "first opens": 1.27,
        "first closes": 4.15,
        "first ends": 2.82,
        "first margin": 0.90,
        "second margin": 1.56,
        "second last": 1.66,
        "contrary": -2.23,
        "around": -3.00,
    }
)
"""Of an answer's odds; from synthetic voices."""
STOP_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 1.27,
        "first gain": 3.84,
        "first opens": 0.40,
        "first closes": 1.10,
        "first margin": 0.15,
        "second gain": 2.15,
        "second margin": 1.22,
        "second last": 0.25,
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

    answer: float = -1.0
    critical: float = 1.5
    reading: float = 0.0
    emergency: float = -0.5
    contrary: float = 6.0
    gain: float = -12.0
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)
    stop_weights: Mapping[str, float] = field(default_factory=lambda: STOP_WEIGHTS)


LIMITS = Limits()
