"""What is counted, as Ibis expressions over the rows: the one definition on every backend.

A store keeps the result: what new runs come to is added (`assistant.fleet.adding`), and a procedure's month in
which a run was changed or taken away is worked out anew (`assistant.fleet.refresh`). Counting is in whole
numbers only, so that every backend gives the same.

| kind | one for each | item | bin |
|---|---|---|---|
| run | run | outcome, "unfinished" without | duration on the scale, s |
| failed | run with a failed coupling | "recovered", "not recovered" | failed couplings in it |
| step | answered visit of a step | step | time to the answer on the scale, s |
| phrase | answered visit | answer | times not understood before it |
| repeat | answered visit | answer | times asked again before it |
| refusal | refusal | never rule or reason | 0 |
| hearing | hearing | "understood", or why not | noise band, `NO_BAND` without sound |
| signed | run with a call sign | call sign | refusals in it |
| signed failed | such a run with a failed coupling | call sign | 0 |
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import ibis
import ibis.expr.types as ir

from assistant.fleet.tables import HEARING, READING, REFUSAL, RUN, VISIT, bit_or

ALL = "*"
NO_BAND = -999
UNDONE = ("unfinished", "given-up", "halted")
"""Outcomes of runs that did not do what they set out to; any other is the procedure's own claim."""

PLACE = ("procedure", "site", "rig", "month", "practice")
_COUNTS = ("n", "runs")
_KEYS = ("kind", "item", "bin")
_AWAY = (("rig",), ("site",), ("site", "rig"), ("rig", "month"), ("site", "rig", "month"))
"""What is added up over. Of a single rig months stay apart: figures of one are few."""

_HOW = dict.fromkeys((*_COUNTS, "outside", "sum_x", "sum_y", "sum_xx", "sum_xy"), "sum")
_HOW |= {"lowest": "min", "highest": "max", "last_x": "max"}


def counted(runs: ir.Table = RUN) -> ir.Table:
    """Return the runs that count: all but those whose copies contradict each other."""
    return runs.filter(runs.state != "disputed")


def tally(runs: ir.Table) -> ir.Table:
    """Return the counts of ``runs`` (a part of `counted`), as the table `schema.Tally`."""
    return levels(counts(runs))


def counts(runs: ir.Table) -> ir.Table:
    """Return the counts of ``runs`` for single sites, rigs and months alone: the cells of a `tally`."""
    each = singly(runs, KINDS)
    return each.group_by(*PLACE, *_KEYS).agg(n=each.n.sum(), runs=each.runs.sum(), people=bit_or(each.people))


def singly(runs: ir.Table, kinds: Sequence[str]) -> ir.Table:
    """Return what is counted of ``runs``, of some `KINDS`, each by itself: a `tally` of its own site and rig alone."""
    outcome = (runs.outcome == "").ifelse("unfinished", runs.outcome)
    runs = runs.select("id", *PLACE, "person", "took_s", "failures", "call_sign", "refusals", outcome=outcome)
    parts = [_PARTS[kind](runs) for kind in kinds]
    return ibis.union(parts[0], *parts[1:]) if parts[1:] else parts[0]


def _runs(runs: ir.Table) -> ir.Table:
    return _counts("run", runs, runs.outcome, runs.took_s)


def _failed(runs: ir.Table) -> ir.Table:
    failed = runs.filter(runs.failures > 0)
    recovered = failed.outcome.isin(UNDONE).ifelse("not recovered", "recovered")
    return _counts("failed", failed, recovered, failed.failures)


def _visits(runs: ir.Table) -> ir.Table:
    """Return the visits that were answered."""
    columns = ("answered_ms", "step", "answer", "took_s", "not_understood", "repeats", "first", "first_answer")
    visits = _of(runs, VISIT, *columns)
    return visits.filter(visits.answered_ms.notnull())


def _steps(runs: ir.Table) -> ir.Table:
    visits = _visits(runs)
    return _counts("step", visits, visits.step, visits.took_s, visits.first)


def _phrases(runs: ir.Table) -> ir.Table:
    visits = _visits(runs)
    return _counts("phrase", visits, visits.answer, visits.not_understood, visits.first_answer)


def _repeats(runs: ir.Table) -> ir.Table:
    visits = _visits(runs)
    return _counts("repeat", visits, visits.answer, visits.repeats, visits.first_answer)


def _refusals(runs: ir.Table) -> ir.Table:
    refusals = _of(runs, REFUSAL, "refused", "first")
    return _counts("refusal", refusals, refusals.refused, ibis.literal(0), refusals.first)


def _hearings(runs: ir.Table) -> ir.Table:
    hearings = _of(runs, HEARING, "unheard", "band", "first")
    understood = (hearings.unheard == "").ifelse("understood", hearings.unheard)
    return _counts("hearing", hearings, understood, hearings.band.fill_null(NO_BAND), hearings.first)


def _signed(runs: ir.Table) -> ir.Table:
    signed = runs.filter(runs.call_sign != "")
    return _counts("signed", signed, signed.call_sign, signed.refusals)


def _signed_failed(runs: ir.Table) -> ir.Table:
    failed = runs.filter(runs.call_sign != "", runs.failures > 0)
    return _counts("signed failed", failed, failed.call_sign, ibis.literal(0))


_PARTS: Mapping[str, Callable[[ir.Table], ir.Table]] = {
    "run": _runs, "failed": _failed, "step": _steps, "phrase": _phrases, "repeat": _repeats, "refusal": _refusals,
    "hearing": _hearings, "signed": _signed, "signed failed": _signed_failed,
}  # fmt: skip
KINDS = tuple(_PARTS)


def trend(runs: ir.Table) -> ir.Table:
    """Return the sums over the readings of ``runs``, as the table `schema.Trend`."""
    return levels(sums(runs))


def sums(runs: ir.Table) -> ir.Table:
    """Return the sums over the readings of ``runs`` for single sites, rigs and months alone: the cells of a `trend`."""
    read = _of(runs, READING, "limit_name", "base_unit", "day", "milli", "within", "first")
    x, y = read.day, read.milli
    return read.group_by(*PLACE, "limit_name", "base_unit").agg(
        n=read.count(),
        runs=_ones(read.first).sum(),
        people=bit_or(read.person),
        outside=_ones(~read.within).sum(),
        lowest=y.min(),
        highest=y.max(),
        last_x=x.max(),
        sum_x=x.sum(),
        sum_y=y.sum(),
        sum_xx=(x * x).sum(),
        sum_xy=(x * y).sum(),
    )


def _of(runs: ir.Table, rows: ir.Table, *columns: str) -> ir.Table:
    """Return the rows that belong to ``runs``, some columns of them, with the place and person of each."""
    place = runs.select("id", *PLACE, "person")
    some = rows.select("run_id", *columns)
    return place.join(some, place.id == some.run_id)


def _counts(
    kind: str, rows: ir.Table, item: ir.StringValue, number: ir.IntegerValue, first: ir.BooleanValue | None = None
) -> ir.Table:
    """Return what of each row is counted, and where; ``first`` marks one row of each run and item (None: all)."""
    first = ibis.literal(True) if first is None else first
    one = ibis.literal(1, "int64")
    return rows.select(
        *PLACE, kind=ibis.literal(kind), item=item, bin=number.cast("int64"), n=one, runs=_ones(first),
        people=rows.person,
    )  # fmt: skip


def _ones(marks: ir.BooleanValue) -> ir.IntegerValue:
    return marks.ifelse(1, 0).cast("int64")


def of_all_months(told: ir.Table) -> ir.Table:
    """Return, of a `tally` or `trend` of single months, what all months come to together."""
    return together(told.filter(told.rig == ALL, told.month != ALL).mutate(month=ibis.literal(ALL)))


def levels(cells: ir.Table) -> ir.Table:
    """Add to the cells of each site, rig and month those of all sites, of all rigs, of all months."""
    wider = [cells.mutate(**{name: ibis.literal(ALL) for name in away}) for away in _AWAY]
    return together(ibis.union(cells, *wider))


def together(cells: ir.Table) -> ir.Table:
    """Make one of all cells of the same place and item, as `counts` of some runs and those of others."""
    added = {name: getattr(cells[name], how)() for name, how in _HOW.items() if name in cells.columns}
    keys = [name for name in cells.columns if name not in {*added, "people"}]
    return cells.group_by(*keys).agg(people=bit_or(cells.people), **added)
