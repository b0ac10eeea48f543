"""Every figure on which hearing decides, in one place, with where it was fitted.

Fitted by ``python -m benchmarks.hearing --fit --times 2 --talk FOLDER`` on 3,366 clips: six synthetic voices under nine
noises at 20, 10 and 5 dB, half of the human recordings, and half of the recordings of people who say no answer
(``benchmarks.people``); among them talk, phrases that did not count, and phrases with more around them. The report uses
other voices, sentences and recordings, and but for one person other speakers; but that what was written freely is
weighed as a rival, that short phrases need more and that the gains count came from what people's words had been taken
for, on both halves, and that there are twice as many phrases with more around them from what a report had shown. The
limits were set by eye on the fitting clips. With them 23 of 720 phrases with more around them are taken, two of them
critical ("maybe slider pins are locked"), none of 288 that do not count, 7 of 1,029 recordings of people who say no
answer, and 1 of 828 answers for another one. Where a reading is due, 12 of the report's 585 recordings of such people
were read back as a number that they do not hold (letters, "hello"); with the limit at 0 they were the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": 3.98,
        "short": -1.53,
        "first gain": 0.08,
        "first opens": 1.22,
        "first closes": 4.85,
        "first ends": 2.37,
        "second gain": 0.76,
        "margin": 0.54,
        "second last": 1.37,
        "contrary": -2.39,
        "first freely": 1.40,
        "second freely": 1.04,
    }
)
"""Of an answer's odds; from synthetic voices, and from people who say no answer."""
STOP_WEIGHTS: Mapping[str, float] = MappingProxyType(
    {
        "constant": -0.33,
        "first gain": 3.66,
        "first opens": 0.17,
        "first closes": 1.61,
        "first margin": 1.14,
        "second gain": 3.25,
        "second margin": 0.61,
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

    answer: float = -0.4
    critical: float = 1.0
    reading: float = -2.0
    emergency: float = -0.9
    contrary: float = 6.0
    snr_db: float = 0.0
    clipped: float = 0.02
    weights: Mapping[str, float] = field(default_factory=lambda: WEIGHTS)
    stop_weights: Mapping[str, float] = field(default_factory=lambda: STOP_WEIGHTS)


LIMITS = Limits()
