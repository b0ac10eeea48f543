"""What the trainer's page lists and opens: runs, one run whole, and the quarantine."""

from __future__ import annotations

from dataclasses import dataclass

import ibis
import pandas as pd

from assistant.errors import InputError
from assistant.fleet.figures import Fleet
from assistant.fleet.filters import EVERYTHING, Filter, rows_of
from assistant.fleet.tables import HEARING, QUARANTINE, READING, REFUSAL, RUN, TABLET, VISIT

_LISTED = (
    "id", "run", "state", "procedure", "rig", "site", "crew", "lang", "practice", "started_wall_ms", "duration_ms",
    "outcome", "failures", "records", "clock", "has_audio", "forgotten", "source", "refusals", "not_understood",
)  # fmt: skip


@dataclass(frozen=True)
class OneRun:
    """One run: its row (with ``tablet`` and ``tablet_key``), and its rows in the order of the log."""

    run: dict[str, object]
    visits: pd.DataFrame
    refusals: pd.DataFrame
    hearings: pd.DataFrame
    readings: pd.DataFrame


def run_list(fleet: Fleet, chosen: Filter = EVERYTHING, *, most: int = 200, skip: int = 0) -> pd.DataFrame:
    """Return the runs chosen, newest first: their row without call sign, person and links."""
    newest = (ibis.desc("started_wall_ms"), ibis.desc("id"))
    return fleet.frame(rows_of(chosen).select(*_LISTED).order_by(*newest).limit(most, offset=skip))


def standing(fleet: Fleet, chosen: Filter = EVERYTHING) -> pd.DataFrame:
    """Return ``state, runs, first_wall_ms, last_wall_ms``: how many runs have an end, and when they began."""
    runs = rows_of(chosen)
    told = runs.group_by("state").agg(
        runs=runs.count(), first_wall_ms=runs.started_wall_ms.min(), last_wall_ms=runs.started_wall_ms.max()
    )
    return fleet.frame(told.order_by("state"))


def one_run(fleet: Fleet, run_id: int) -> OneRun:
    """Return everything the store has of a run; InputError when there is none of that number."""
    tablets = TABLET.select(tablet_id="id", tablet="name", tablet_key="key")
    row = fleet.frame(RUN.filter(RUN.id == run_id).drop("links").join(tablets, "tablet_id"))
    if row.empty:
        raise InputError(f"There is no run number {run_id} in the store.")
    parts = [
        fleet.frame(table.filter(table.run_id == run_id).order_by("seq"))
        for table in (VISIT, REFUSAL, HEARING, READING)
    ]
    return OneRun(row.to_dict("records")[0], *parts)


def quarantined(fleet: Fleet) -> pd.DataFrame:
    """Return the files that are not counted: ``path, reason, line, what, run, seen_wall_ms, digest``."""
    return fleet.frame(
        QUARANTINE.order_by("path", "digest").select("path", "reason", "line", "what", "run", "seen_wall_ms", "digest")
    )
