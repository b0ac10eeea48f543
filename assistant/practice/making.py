"""Folders of runs that look like a fleet's working days, for the store, the debrief and their measurements."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Final

from assistant.errors import NotMeantError
from assistant.journal.clock import stamp
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey, tablet_key
from assistant.practice.manner import CALM, CARELESS
from assistant.practice.mouth import QUIET_DB
from assistant.practice.truth import Truth
from assistant.practice.whole import Made, Order, Setting, one_run, ready_for
from assistant.prepare import library

DAY_MS: Final = 86_400_000
START_WALL: Final = 1_930_000_000_000  # a morning in February 2031, as the dates of other made-up runs

WORK: Final = (
    "couple", "couple", "couple", "uncouple", "uncouple", "road-ready", "road-ready", "wear-check", "recover",
)  # fmt: skip
"""What a tractor does in its days, by how often: common practice, no source."""

CREW_SHARES: Final = ("alone", "alone", "alone", "mate")

CALL_SIGNS: Final = tuple(f"quarry {word}" for word in (
    "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
))  # fmt: skip

SITE_NOISE: Final = {"us-handbook": -55.0, "depot-lines-first": -40.0, "lines-after": -50.0, "uk-standard": -46.0}
"""Noise at the microphone by site, dB of full scale; made up, one yard louder than the others."""


def make_runs(
    folder: Path,
    count: int,
    seed: int,
    *,
    start_wall: int = START_WALL,
    days: int = 90,
    rigs: Sequence[str] = (),
    sites: Sequence[str] = (),
    procedures: Sequence[str] = WORK,
    call_signs: Sequence[str] = CALL_SIGNS,
    careless: float = 0.15,
    difficulty: int = 1,
    fault_share: float = 0.15,
    drifting_rig: str = "slider-air",
    keep_words: float = 0.9,
    disk: Disk | None = None,
) -> Iterator[Made]:
    """Make ``count`` runs in ``folder`` and yield each as it is done; the same arguments, the same runs.

    Runs spread over ``days`` from ``start_wall`` (ms since 1970) in the hours of two shifts, over rigs,
    sites and call signs; the readings of ``drifting_rig`` creep towards their limits over the days. Keys
    come from ``folder/../keys`` of a tablet each rig has; a run's folder is ``folder/<run id>``. Logs are
    real in every byte, but for speed they are not synced unless ``disk`` says so.
    """
    chance = Random(seed)  # noqa: S311 - as above
    keys = folder.parent / "keys"
    for number in range(count):
        setting = _setting(chance, procedures, rigs, sites)
        share = number / max(1, count - 1)
        day = int(share * (days - 1)) if days > 1 else 0
        wall = start_wall + day * DAY_MS + chance.randrange(0, 16 * 3_600_000) - 4 * 3_600_000
        fault = chance.random() < fault_share
        order = Order(
            setting=setting,
            name=f"{_run_name(wall)}-{seed & 0xFFFF:04x}{number:06x}",
            manner=CARELESS if chance.random() < careless else CALM,
            wall_ms=wall,
            seed=chance.getrandbits(63),
            key=_key(keys / setting.rig),
            difficulty=difficulty if fault else 0,
            call_sign=chance.choice(call_signs) if call_signs else "",
            noise_db=SITE_NOISE.get(setting.site, QUIET_DB) + chance.gauss(0.0, 4.0),
            keep_words=chance.random() < keep_words,
            disk=disk,
            tune=_drift(share if setting.rig == drifting_rig else 0.0, chance.gauss(0.0, 0.004)),
        )
        yield one_run(folder, order)


def _setting(chance: Random, procedures: Sequence[str], rigs: Sequence[str], sites: Sequence[str]) -> Setting:
    """Draw what a run is of among the settings wanted; only what is drawn is loaded."""
    where = library()
    rigs, sites = list(rigs or where.names("rigs")), list(sites or where.names("sites"))
    for _ in range(1000):
        drawn_one = Setting(
            chance.choice(list(procedures)), chance.choice(rigs), chance.choice(sites), chance.choice(CREW_SHARES)
        )
        if ready_for(drawn_one) is not None:
            return drawn_one
    raise NotMeantError("None of the procedures named is meant for any of the rigs named.")


@lru_cache(maxsize=64)
def _key(folder: Path) -> TabletKey:
    return tablet_key(folder)


def _run_name(wall_ms: int) -> str:
    return stamp(wall_ms)[:19].replace("-", "").replace(":", "") + "Z"


def _drift(share: float, jitter: float) -> Callable[[Truth], Truth]:
    """Return what lets a rig wear: play grows and air leaks more, from fresh to just about its limit."""

    def tune(truth: Truth) -> Truth:
        fit = truth.fit
        wear = {
            **fit.wear,
            "halves-play": round(fit.wear["halves-play"] + 0.28 * share + jitter, 3),
            "pin-lock-diameter": round(fit.wear["pin-lock-diameter"] - 0.085 * share + jitter / 4, 3),
            "pivot-play": round(fit.wear["pivot-play"] + 0.25 * share + jitter, 3),
        }
        return truth.but(fit=replace(fit, wear=wear, leak_charged=fit.leak_charged + 1.5 * share))

    return tune
