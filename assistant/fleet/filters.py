"""What the figures are of, and which groups are too small to be shown."""

from __future__ import annotations

import re
from dataclasses import dataclass

import ibis.expr.types as ir
import numpy as np

from assistant.errors import InputError
from assistant.fleet.rows import DAY_MS
from assistant.fleet.tables import RUN, TALLY, TREND
from assistant.fleet.tally import ALL, counted, singly, sums

_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


@dataclass(frozen=True, slots=True)
class Filter:
    """Which runs to count: an empty field passes all.

    Months ("2031-05") are the tablet's own, first and last included. ``practice`` True or False counts
    only such runs, None both. A ``call_sign`` makes the figures one person's; that needs ``by_person`` as
    well, so that nobody is singled out by a slip of the hand. Raises `InputError`.
    """

    first_month: str = ""
    last_month: str = ""
    site: str = ""
    rig: str = ""
    procedure: str = ""
    practice: bool | None = False
    call_sign: str = ""
    by_person: bool = False

    def __post_init__(self) -> None:
        for month in (self.first_month, self.last_month):
            if month and not _MONTH.fullmatch(month):
                raise InputError(f"{month!r} is no month: write it as 2031-05.")
        if self.call_sign and not self.by_person:
            raise InputError("Figures of one call sign are shown only when they are asked for by person.")


@dataclass(frozen=True, slots=True)
class Mask:
    """A group of fewer ``runs``, or of fewer ``people``, is masked: its numbers are left out.

    People are counted by marks (`schema.Run.person`): never more than there are, now and then one fewer.
    A run without a call sign counts for whoever has the tablet.
    """

    runs: int = 5
    people: int = 3


EVERYTHING = Filter()
USUAL = Mask()


def tallies(kind: str, chosen: Filter, *, by_site: bool = False) -> ir.Table:
    """Return the counts of a kind for the runs chosen; each site's own when ``by_site``."""
    if chosen.call_sign:  # of one person there is no tally, so the rows are counted
        return singly(rows_of(chosen), (kind,))
    return _placed(TALLY.filter(TALLY.kind == kind), chosen, by_site=by_site)


def trends(chosen: Filter) -> ir.Table:
    """Return the sums over readings for the runs chosen."""
    return sums(rows_of(chosen)) if chosen.call_sign else _placed(TREND, chosen, by_site=False)


def rows_of(chosen: Filter) -> ir.Table:
    """Return the counted runs that are chosen; with a call sign only those that still bear it."""
    runs = _within(counted(RUN), chosen)
    # A run's month is that of its beginning: without this the newest of a month are looked for among all newer ones.
    if chosen.first_month:
        runs = runs.filter(runs.started_wall_ms >= first_day(chosen.first_month) * DAY_MS)
    if chosen.last_month:
        runs = runs.filter(runs.started_wall_ms < first_day(chosen.last_month, after=1) * DAY_MS)
    for name, value in (("site", chosen.site), ("rig", chosen.rig), ("call_sign", chosen.call_sign)):
        if value:
            runs = runs.filter(runs[name] == value)
    return runs


def first_day(month: str, *, after: int = 0) -> int:
    """Return the first day of a month ("2031-05"), or of one ``after`` it, in days since 1970."""
    return int((np.datetime64(month, "M") + after).astype("datetime64[D]").astype("int64"))


def _placed(told: ir.Table, chosen: Filter, *, by_site: bool) -> ir.Table:
    told = _within(told, chosen).filter(lambda cell: cell.rig == (chosen.rig or ALL))
    apart = chosen.rig or chosen.first_month or chosen.last_month
    told = told.filter(told.month != ALL if apart else told.month == ALL)
    if chosen.site or not by_site:
        return told.filter(told.site == (chosen.site or ALL))
    return told.filter(told.site != ALL)


def _within(told: ir.Table, chosen: Filter) -> ir.Table:
    if chosen.procedure:
        told = told.filter(told.procedure == chosen.procedure)
    if chosen.first_month:
        told = told.filter(told.month >= chosen.first_month)
    if chosen.last_month:
        told = told.filter(told.month <= chosen.last_month)
    if chosen.practice is not None:
        told = told.filter(told.practice == chosen.practice)
    return told
