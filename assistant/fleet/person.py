"""Figures of single people: only of those who chose a call sign, only when asked for by person.

A run whose words were forgotten has lost its call sign. Rows stand by call sign, never by who is better.
"""

from __future__ import annotations

from dataclasses import replace

import ibis
import pandas as pd

from assistant.errors import InputError
from assistant.fleet.figures import Fleet, shown, step_times, timed
from assistant.fleet.filters import EVERYTHING, USUAL, Filter, Mask, rows_of, tallies
from assistant.fleet.tables import bit_or
from assistant.fleet.tally import singly

NEWEST = 300
"""A person's pace is that of so many of their newest runs: what was years ago says little, and the cost stays flat."""

_REFUSED = "Figures of people are shown only when they are asked for by person."


def call_signs(
    fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL, *, by_person: bool = False
) -> pd.DataFrame:
    """Return ``call_sign, runs, failed, refusals``, by call sign; a person with too few runs is masked."""
    _allow(by_person)
    told = tallies("signed", chosen).union(tallies("signed failed", chosen)).rename(call_sign="item")
    failed = (told.kind == "signed failed").ifelse(1, 0)
    found = told.group_by("call_sign").agg(
        people=bit_or(told.people),
        runs=(told.n * (1 - failed)).sum().cast("int64"),
        failed=(told.n * failed).sum().cast("int64"),
        refusals=(told.n * told.bin).sum().cast("int64"),
    )
    alone = Mask(mask.runs, people=0)
    return shown(fleet.frame(found.order_by("call_sign")), ("call_sign",), chosen, alone)


def against_group(
    fleet: Fleet, call_sign: str, chosen: Filter = EVERYTHING, mask: Mask = USUAL, *, by_person: bool = False
) -> pd.DataFrame:
    """Return one call sign's step times beside everybody's: ``procedure, step, own_visits, own_runs,
    own_median_s, own_p90_s, visits, runs, median_s, p90_s``; ``masked`` where either side is too small. One's own
    are of the `NEWEST` of the runs chosen, everybody's of all of them.
    """  # noqa: D205 - the columns need the room
    _allow(by_person)
    alone = replace(chosen, call_sign=call_sign, by_person=True)
    by = ("procedure", "step")
    newest = rows_of(alone).order_by(ibis.desc("started_wall_ms"), ibis.desc("id")).limit(NEWEST)
    cells = singly(newest, ("step",)).rename(step="item")
    own = shown(fleet.frame(timed(cells, by)), by, alone, mask).rename(columns={"n": "visits"})
    group = step_times(fleet, replace(chosen, call_sign="", by_person=False), mask)
    numbers = [name for name in own.columns if name not in {*by, "masked"}]
    own = own.rename(columns={name: f"own_{name}" for name in numbers} | {"masked": "own_masked"})
    both = own.merge(group, on=list(by), how="left")
    masked = both.pop("own_masked") | both["masked"].fillna(value=True).astype(bool)
    return both.assign(masked=masked)


def _allow(by_person: bool) -> None:
    if not by_person:
        raise InputError(_REFUSED)
