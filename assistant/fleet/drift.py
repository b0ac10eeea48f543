"""Readings over time: does what is measured on a rig creep towards its limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeAlias

import ibis
import ibis.expr.types as ir
import pandas as pd

from assistant.fleet.figures import Fleet, shown
from assistant.fleet.filters import EVERYTHING, USUAL, Filter, Mask, first_day, rows_of, trends
from assistant.fleet.tables import READING, bit_or
from assistant.phrases.units import convert

NEWEST = 200
"""So many readings of a limit are shown; what all of them come to is in the line through them."""

_MONTH_DAYS = 30
_BY = ("limit_name", "base_unit")
_SUMS = ("n", "runs", "outside", "sum_x", "sum_y", "sum_xx", "sum_xy")


Bound: TypeAlias = tuple[Decimal, str] | None


@dataclass(frozen=True, slots=True)
class Drift:
    """The straight line through the readings of one limit, by least squares.

    All values are in ``base_unit``. ``slope`` is the change in thirty days, ``mean`` and ``latest`` the mean and
    the line's value on the last day read. ``days_left`` is how long until the line meets ``bound``: 0 when
    it is past it, None without a bound or when the line leads away from it. ``masked`` leaves all numbers out.
    """

    limit_name: str
    base_unit: str
    masked: bool
    n: int | None = None
    mean: Decimal | None = None
    slope: Decimal | None = None
    latest: Decimal | None = None
    bound: Decimal | None = None
    days_left: int | None = None


def limits_read(fleet: Fleet, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``limit_name, base_unit, n, runs, outside, lowest, highest, mean``; the last three in thousandths.

    ``mean`` is rounded down to a whole number.
    """
    raw = _sums(fleet, chosen)
    raw["mean"] = raw["sum_y"] // raw["n"]
    told = raw[[*_BY, "n", "runs", "outside", "people", "lowest", "highest", "mean"]].copy()
    return shown(told, _BY, chosen, mask)


def reading_points(
    fleet: Fleet, limit_name: str, chosen: Filter = EVERYTHING, mask: Mask = USUAL, most: int = NEWEST
) -> pd.DataFrame:
    """Return the newest readings of a limit, oldest first: ``day, milli, within``, as in `schema.Reading`.

    ``day`` counts days since 1970. Nobody is named; empty when the runs read in are too few for ``mask``.
    """
    found = fleet.frame(_newest(chosen, most), {_LIMIT: limit_name})
    found = found.sort_values(["day", "run_id", "seq"], kind="stable")
    marks = 0
    for person in found["person"]:
        marks |= int(person)
    if found["run_id"].nunique() < mask.runs or (marks.bit_count() < mask.people and not chosen.call_sign):
        found = found.iloc[:0]
    return found[["day", *_POINT]].reset_index(drop=True)


_LIMIT = ibis.param("string")
"""The limit that is asked for: one question for all of them, made once."""

_POINT = ["milli", "within"]


@lru_cache(maxsize=64)  # to put the question together takes longer than to answer it
def _newest(chosen: Filter, most: int) -> ir.Table:
    """Return the newest readings of the limit asked for, and whose they are.

    A reading bears its run's rig, and the day on which that began: asked of it alone, they lead along an index, and
    no database thinks that asking them twice leaves fewer.
    """
    runs = rows_of(replace(chosen, rig="", first_month="", last_month="")).select("id", "person")
    read = READING.filter(READING.limit_name == _LIMIT)
    if chosen.rig:
        read = read.filter(read.rig == chosen.rig)
    if chosen.first_month:
        read = read.filter(read.day >= first_day(chosen.first_month))
    if chosen.last_month:
        read = read.filter(read.day < first_day(chosen.last_month, after=1))
    told = runs.join(read, runs.id == read.run_id).order_by(read.day.desc(), read.run_id.desc(), read.seq.desc())
    return told.limit(most).select("day", "run_id", "seq", "person", *_POINT)


def drifts(
    fleet: Fleet, bounds: Mapping[str, Sequence[Bound]], chosen: Filter = EVERYTHING, mask: Mask = USUAL
) -> dict[str, list[Drift]]:
    """Return for each limit named the line through its readings, once for each of its bounds.

    A bound is (value, unit), or None for the line alone.
    """
    raw = _sums(fleet, chosen)
    masked = shown(raw[[*_BY, "n", "runs", "people"]].copy(), _BY, chosen, mask)["masked"]
    told: dict[str, list[Drift]] = {}
    for name, some in bounds.items():
        mine = raw["limit_name"] == name
        if not mine.any():
            told[name] = [Drift(name, "", masked=True) for _ in some]
            continue
        row, hidden = raw[mine].iloc[0], bool(masked[mine].iloc[0])
        told[name] = [_drift(name, row, bound, masked=hidden) for bound in some]
    return told


def _drift(limit_name: str, row: pd.Series[Any], bound: Bound, *, masked: bool) -> Drift:
    base_unit = str(row["base_unit"])
    if masked:
        return Drift(limit_name, base_unit, masked=True)
    sums = {name: int(row[name]) for name in (*_SUMS, "last_x")}
    limit = None if bound is None else Fraction(convert(bound[0], bound[1], base_unit))
    return _line(limit_name, base_unit, sums, limit)


def _line(limit_name: str, base_unit: str, row: dict[str, int], bound: Fraction | None) -> Drift:
    """Fit the line in whole numbers and fractions, so that no backend's floats come into it."""
    n = row["n"]
    mean = Fraction(row["sum_y"], n * 1000)
    spread = n * row["sum_xx"] - row["sum_x"] ** 2
    slope = Fraction(n * row["sum_xy"] - row["sum_x"] * row["sum_y"], spread * 1000) if spread else None
    latest = mean + slope * (row["last_x"] - Fraction(row["sum_x"], n)) if slope is not None else None
    left = None
    if bound is not None and slope is not None and latest is not None:
        left = _days_left(bound, slope, latest, mean)
    return Drift(
        limit_name,
        base_unit,
        masked=False,
        n=n,
        mean=_decimal(mean),
        slope=None if slope is None else _decimal(slope * _MONTH_DAYS),
        latest=None if latest is None else _decimal(latest),
        bound=None if bound is None else _decimal(bound),
        days_left=left,
    )


def _days_left(bound: Fraction, slope: Fraction, latest: Fraction, mean: Fraction) -> int | None:
    """Return the days from the last reading until the line meets the bound."""
    below = mean < bound
    if (latest < bound) is not below:
        return 0
    if slope == 0 or (slope > 0) is not below:
        return None
    return int((bound - latest) / slope)


def _decimal(value: Fraction) -> Decimal:
    return (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal("0.001"))


def _sums(fleet: Fleet, chosen: Filter) -> pd.DataFrame:
    """Return the sums over each limit's readings, unmasked."""
    told = trends(chosen)
    sums = {name: told[name].sum().cast("int64") for name in _SUMS}
    ends = {"lowest": told.lowest.min(), "highest": told.highest.max(), "last_x": told.last_x.max()}
    grouped = told.group_by(*_BY).agg(people=bit_or(told.people), **ends, **sums)
    return fleet.frame(grouped.order_by(*_BY))
