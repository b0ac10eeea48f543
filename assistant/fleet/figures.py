"""The statistics, each written once: the same on SQLite and on PostgreSQL.

Every figure takes a fleet (`store.Store`), a `Filter` and a `Mask`, and returns a table with
one row a group, the documented columns, and ``masked``: True where the group is too small, and then its
numbers are missing. Nothing is ranked: rows stand in the order of their names.

Times are whole seconds on the scale of `assistant.fleet.scale`, each the lower edge of its step; a median
is the step in which half the times are reached, p90 where nine tenths are.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

import ibis
import ibis.expr.types as ir
import pandas as pd

from assistant.fleet.filters import EVERYTHING, USUAL, Filter, Mask, tallies
from assistant.fleet.scale import edge
from assistant.fleet.tables import TALLY, bit_or
from assistant.fleet.tally import ALL, NO_BAND, UNDONE


class Fleet(Protocol):
    """Where figures come from."""

    def frame(self, told: ir.Table, given: Mapping[ir.Scalar, str] | None = None) -> pd.DataFrame:
        """Work an expression over the store's tables out, its parameters ``given``; LogError when it cannot be."""


def outcomes(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``procedure, outcome, runs``; the outcome "unfinished" has no end in its log."""
    runs = tallies("run", chosen).rename(outcome="item")
    return _counted(fleet, runs, ("procedure", "outcome"), {}, chosen, mask)


def procedure_times(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``procedure, runs, median_s, p90_s``: how long runs took that did what they set out to."""
    done = tallies("run", chosen)
    return _timed(fleet, done.filter(done.item.notin(UNDONE)), ("procedure",), chosen, mask).drop(columns="n")


def step_times(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``procedure, step, visits, runs, median_s, p90_s``: from a step's asking to its answer.

    A read-back is the assistant's time and not counted. Looks after an interruption are steps too.
    """
    steps = tallies("step", chosen).rename(step="item")
    return _timed(fleet, steps, ("procedure", "step"), chosen, mask).rename(columns={"n": "visits"})


def too_fast(
    fleet: Fleet, walking_s: int | Mapping[str, int], chosen: Filter = EVERYTHING, mask: Mask = USUAL
) -> pd.DataFrame:
    """Return ``procedure, step, visits, runs, too_fast, walking_s``: answers given before the walk was possible.

    ``walking_s`` is the shortest time in seconds to get there and look, for all steps or for each named one;
    it is taken down to an edge of the scale, which every whole second below 20 s is.
    """
    steps = tallies("step", chosen).rename(step="item")
    if isinstance(walking_s, Mapping):
        steps = steps.filter(steps.step.isin(sorted(walking_s)))
        walk = steps.step.cases(*((step, edge(told)) for step, told in walking_s.items()), else_=0)
    else:
        walk = ibis.literal(edge(walking_s))
    steps = steps.mutate(walk=walk.cast("int64"))
    sums = {"visits": steps.n.sum(), "too_fast": (steps.bin < steps.walk).ifelse(steps.n, 0).sum()}
    found = _counted(fleet, steps, ("procedure", "step"), sums, chosen, mask)
    told_s = walking_s if isinstance(walking_s, Mapping) else dict.fromkeys(found["step"], walking_s)
    return found.assign(walking_s=[edge(told_s[step]) for step in found["step"]])


def refusals(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``procedure, refused, refusals, runs``; ``refused`` is a never rule's id, or why no rule was needed."""
    found = tallies("refusal", chosen).rename(refused="item")
    return _counted(fleet, found, ("procedure", "refused"), {"refusals": found.n.sum()}, chosen, mask)


def not_understood_by_phrase(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``answer, visits, runs, not_understood, asked_again``, by the answer that counted in the end."""
    cells = tallies("phrase", chosen).union(tallies("repeat", chosen)).rename(answer="item")
    misses = (cells.kind == "phrase").ifelse(1, 0)
    sums = {
        "runs": (cells.runs * misses).sum(),
        "visits": (cells.n * misses).sum(),
        "not_understood": (cells.n * cells.bin * misses).sum(),
        "asked_again": (cells.n * cells.bin * (1 - misses)).sum(),
    }
    return _counted(fleet, cells, ("answer",), sums, chosen, mask)


def not_understood_by_noise(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``band, hearings, runs, not_understood``; ``band`` is the lower edge of ten decibels of noise."""
    heard = tallies("hearing", chosen)
    heard = heard.filter(heard.bin != NO_BAND).rename(band="bin")
    return _counted(fleet, heard, ("band",), _missed(heard), chosen, mask)


def not_understood_by_site(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``site, hearings, runs, not_understood``; a run counts once for each band of noise it met."""
    heard = tallies("hearing", chosen, by_site=True)
    return _counted(fleet, heard, ("site",), _missed(heard), chosen, mask)


def failures(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``procedure, runs, failed, recovered, failures``.

    ``failed`` runs had at least one failed coupling, ``recovered`` of them did in the end what they set out
    to; ``failures`` counts every failed coupling.
    """
    cells = tallies("run", chosen).union(tallies("failed", chosen))
    failed = (cells.kind == "failed").ifelse(1, 0)
    sums = {
        "runs": (cells.runs * (1 - failed)).sum(),
        "failed": (cells.n * failed).sum(),
        "recovered": (cells.n * (cells.item == "recovered").ifelse(1, 0) * failed).sum(),
        "failures": (cells.n * cells.bin * failed).sum(),
    }
    return _counted(fleet, cells, ("procedure",), sums, chosen, mask)


def choices(fleet: Fleet) -> dict[str, list[str]]:
    """Return what a `Filter` can be set to: the procedures, sites, rigs and months there are runs of."""
    cells = TALLY.filter(TALLY.kind == "run", TALLY.site != ALL, TALLY.rig != ALL, TALLY.month != ALL)
    names = ("procedure", "site", "rig", "month")
    found = fleet.frame(cells.select(*names).distinct())
    return {name: sorted(found[name].unique()) for name in names}


def _missed(heard: ir.Table) -> dict[str, ir.Value]:
    missed = (heard.item == "understood").ifelse(0, heard.n).sum()
    return {"hearings": heard.n.sum(), "not_understood": missed}


def _counted(
    fleet: Fleet, cells: ir.Table, by: tuple[str, ...], sums: dict[str, ir.Value], chosen: Filter, mask: Mask
) -> pd.DataFrame:
    """Add cells up by group."""
    told = {"runs": cells.runs.sum()} | sums
    whole = {name: value.cast("int64") for name, value in told.items()}
    found = cells.group_by(*by).agg(people=bit_or(cells.people), **whole).order_by(*by)
    return shown(fleet.frame(found), by, chosen, mask)


def _timed(fleet: Fleet, cells: ir.Table, by: tuple[str, ...], chosen: Filter, mask: Mask) -> pd.DataFrame:
    """Return ``by…, n, runs, median_s, p90_s`` of cells whose bin is a time."""
    return shown(fleet.frame(timed(cells, by)), by, chosen, mask)


def timed(cells: ir.Table, by: tuple[str, ...]) -> ir.Table:
    """Return count, runs, median and p90 of cells whose bin is a time, unmasked."""
    bins = cells.group_by(*by, "bin").agg(
        n=cells.n.sum().cast("int64"), runs=cells.runs.sum().cast("int64"), people=bit_or(cells.people)
    )
    upto = bins.n.sum().over(ibis.window(group_by=by, order_by="bin", rows=(None, 0)))
    summed = bins.mutate(upto=upto, of=bins.n.sum().over(ibis.window(group_by=by)))
    return (
        summed.group_by(*by)
        .agg(
            n=summed.n.sum().cast("int64"),
            runs=summed.runs.sum().cast("int64"),
            people=bit_or(summed.people),
            median_s=summed.bin.min(where=summed.upto * 2 >= summed.of),
            p90_s=summed.bin.min(where=summed.upto * 10 >= summed.of * 9),
        )
        .order_by(*by)
    )


def shown(found: pd.DataFrame, by: tuple[str, ...], chosen: Filter, mask: Mask) -> pd.DataFrame:
    """Take the numbers of small groups out; of one person's figures only few runs make a small group."""
    people = found.pop("people").map(lambda marks: int(marks).bit_count())
    small = (found["runs"] < mask.runs) | ((people < mask.people) & (not chosen.call_sign))
    for name in found.columns.difference(list(by)):
        found[name] = found[name].astype("Int64").mask(small)
    return found.assign(masked=small.astype(bool))
