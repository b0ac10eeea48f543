"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit --talk FOLDER`` on 4,472 clips: six synthetic voices of older make and
twelve natural ones under eight noises at 20, 10 and 5 dB, half of the human recordings, and half of the recordings of
people who say no answer (``benchmarks.people``); among them talk, phrases that did not count, and phrases with more
around them. The report uses other voices, sentences and recordings, and but for one person other speakers; but that
what was written freely is weighed as a rival and that short phrases need more came from what people's words had been
taken for, on both halves, and that there are twice as many phrases with more around them from what a report had shown.
The limits were set by eye on the fitting clips. With them 13 of 1,079 phrases with more around them are taken, one of
them critical ("parking brake is set or something", at 5 dB), none of 432 that do not count, none of 324 synthetic
sentences, 2 of 1,029 recordings of people who say no answer, and 1 of 1,238 answers for another one; 11 of all these
that are no stop stop the run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 5.13,
        "short lacks": -3.01,
        "first gain": 0.19,
        "first opens": 1.70,
        "first closes": 3.09,
        "first ends": 1.21,
        "margin": 0.62,
        "second last": 1.53,
        "contrary": -1.51,
        "first freely": 1.85,
        "second freely": 0.87,
    }
)
"""Of an answer's odds; from synthetic voices, and from people who say no answer."""
STOP_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 0.70,
        "first gain": 3.05,
        "first opens": 1.21,
        "first closes": 1.01,
        "first margin": 0.46,
        "second gain": 2.40,
        "second margin": 2.00,
    }
)
"""Of a stop's odds; from synthetic voices and people."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Figures of the rule.

    ``weights`` turn what the ears found into log-odds (see ``assistant.ears.odds``). From
    ``answer`` on a phrase is taken, from ``critical`` a critical one, from ``emergency`` a stop, and
    from ``reading`` a number is read back.
    ``contrary``: from there on a text that denies the phrase fits so much better that none is taken.
    ``snr_db``: under this, as measured, an answer is not taken (an emergency still is); less was not measured.
    ``loud_db``: under this the driver is told, where the ears only doubt, that it is too loud; 19 in 20 of the fitting
    answers 5 dB above the noise measured more. ``clipped``: share of samples in cut-off runs from which sound is
    refused.
    """

    answer: float = 0.5
    critical: float = 1.0
    reading: float = -1.0
    emergency: float = -1.2
    contrary: float = 6.0
    snr_db: float = 0.0
    loud_db: float = 7.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)
    stop_weights: Mapping[str, float] = field(default_factory=lambda: STOP_WEIGHTS)


LIMITS = Limits()
