"""Readings over time: does what is measured on a rig creep towards its limit."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import pandas as pd

from assistant.fleet.figures import Fleet, shown
from assistant.fleet.filters import EVERYTHING, USUAL, Filter, Mask, rows_of, trends
from assistant.fleet.tables import READING, bit_or
from assistant.phrases.units import convert

_MONTH_DAYS = 30
_SUMS = ("n", "runs", "outside", "sum_x", "sum_y", "sum_xx", "sum_xy")


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
    """Return ``limit_name, base_unit, n, runs, outside, lowest, highest``; the last two in thousandths."""
    return _by(fleet, ("limit_name", "base_unit"), "", chosen, mask)


def readings_by_month(fleet: Fleet, limit_name: str, chosen: Filter = EVERYTHING, mask: Mask = USUAL) -> pd.DataFrame:
    """Return ``base_unit, month, n, runs, outside, lowest, highest, mean``; the last three in thousandths.

    ``mean`` is rounded down to a whole number.
    """
    return _by(fleet, ("base_unit", "month"), limit_name, chosen, mask)


def reading_points(
    fleet: Fleet, limit_name: str, chosen: Filter = EVERYTHING, mask: Mask = USUAL, most: int = 500
) -> pd.DataFrame:
    """Return the newest readings of a limit, oldest first: ``day, milli, value, unit, base_unit, within, rig``.

    ``day`` counts days since 1970. Nobody is named; empty when the runs read in are too few for ``mask``.
    """
    runs = rows_of(chosen).select("id", "person")
    read = READING.filter(READING.limit_name == limit_name)
    if chosen.rig:
        read = read.filter(read.rig == chosen.rig)
    told = runs.join(read, runs.id == read.run_id).order_by(read.day.desc(), read.run_id.desc(), read.seq.desc())
    newest = told.limit(most).select("day", "run_id", "seq", "person", *_POINT)
    found = fleet.frame(newest).sort_values(["day", "run_id", "seq"], kind="stable")
    marks = 0
    for person in found["person"]:
        marks |= int(person)
    if found["run_id"].nunique() < mask.runs or (marks.bit_count() < mask.people and not chosen.call_sign):
        found = found.iloc[:0]
    return found[["day", *_POINT]].reset_index(drop=True)


_POINT = ["milli", "value", "unit", "base_unit", "within", "rig"]


def drift(
    fleet: Fleet,
    limit_name: str,
    chosen: Filter = EVERYTHING,
    mask: Mask = USUAL,
    *,
    bound: Decimal | None = None,
    unit: str = "",
) -> Drift:
    """Return the line through the readings of a limit, and when it meets ``bound`` (in ``unit``)."""
    told = trends(chosen)
    told = told.filter(told.limit_name == limit_name)
    sums = {name: told[name].sum().cast("int64") for name in _SUMS}
    grouped = told.group_by("base_unit").agg(people=bit_or(told.people), last_x=told.last_x.max(), **sums)
    raw = fleet.frame(grouped.order_by("base_unit"))
    if raw.empty:
        return Drift(limit_name, "", masked=True)
    row = {name: int(raw[name].iloc[0]) for name in (*_SUMS, "last_x")}
    base_unit = str(raw["base_unit"].iloc[0])
    if shown(raw.iloc[:1].copy(), ("base_unit",), chosen, mask)["masked"].iloc[0]:
        return Drift(limit_name, base_unit, masked=True)
    limit = None if bound is None else Fraction(convert(bound, unit or base_unit, base_unit))
    return _line(limit_name, base_unit, row, limit)


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


def _by(fleet: Fleet, by: tuple[str, ...], limit_name: str, chosen: Filter, mask: Mask) -> pd.DataFrame:
    told = trends(chosen)
    if limit_name:
        told = told.filter(told.limit_name == limit_name)
    sums = {name: told[name].sum().cast("int64") for name in ("n", "runs", "outside", "sum_y")}
    grouped = told.group_by(*by).agg(
        people=bit_or(told.people), lowest=told.lowest.min(), highest=told.highest.max(), **sums
    )
    raw = fleet.frame(grouped.order_by(*by))
    raw["mean"] = raw["sum_y"] // raw["n"]
    return shown(raw.drop(columns="sum_y"), by, chosen, mask)
