"""How a driver of the automatic kind behaves: chances of each thing that people do. Pure data."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final


@dataclass(frozen=True, slots=True)
class Manner:
    """Chances, each for one turn at which it can happen.

    ``lies`` answers without truth, ``skips`` answers without having done the work, ``defies`` does what
    was refused. ``announces`` says an act before doing it, ``too_early`` says some other act first.
    ``unheard`` is that of an utterance not being understood in quiet; noise adds to it. ``pace``
    stretches or shortens the time an answer takes.
    """

    name: str
    lies: float = 0.0
    skips: float = 0.0
    defies: float = 0.0
    announces: float = 0.3
    too_early: float = 0.03
    unheard: float = 0.05
    asks: float = 0.02
    corrects: float = 0.01
    stands_by: float = 0.005
    silent: float = 0.02
    stops: float = 0.004
    gives_up: float = 0.0005
    mic_lost: float = 0.003
    power_cut: float = 0.004
    torn: float = 0.4
    clock_set: float = 0.001
    wrong_voice: float = 0.02
    no_unit: float = 0.1
    pace: float = 1.0


CAREFUL: Final = Manner("careful")
CARELESS: Final = Manner(
    "careless", lies=0.03, skips=0.08, announces=0.1, too_early=0.12, corrects=0.03, silent=0.05, pace=0.35
)
RECKLESS: Final = Manner(
    "reckless", lies=0.12, skips=0.25, defies=0.5, announces=0.1, too_early=0.25, gives_up=0.002, pace=0.2
)
CALM: Final = replace(
    CAREFUL, name="calm", too_early=0.01, stops=0.001, power_cut=0.001, mic_lost=0.001, silent=0.01,
    gives_up=0.0001,
)
"""Drivers for logs that look like ordinary working days."""

MANNERS: Final = {one.name: one for one in (CAREFUL, CARELESS, RECKLESS, CALM)}
