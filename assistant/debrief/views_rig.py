"""How rigs do: readings that creep towards a limit."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pandas as pd

from assistant.debrief.asked import (
    MASK_NOTE,
    RUNS,
    Asked,
    Shown,
    cell,
    table_of,
)
from assistant.debrief.blocks import Column
from assistant.debrief.names import Names
from assistant.debrief.plots import Lines
from assistant.debrief.telling import plain
from assistant.fleet import drift
from assistant.fleet.store import Store
from assistant.phrases.units import convert


def readings(store: Store, names: Names, asked: Asked) -> Shown:
    """Readings that creep towards a limit, for one rig or all."""
    found = drift.limits_read(store, asked.chosen)
    rows, plots = [], []
    for one in found.to_dict("records"):
        name, unit = str(one["limit_name"]), str(one["base_unit"])
        row = {
            "limit": name,
            "unit": unit,
            "masked": bool(one["masked"]),
            "n": one["n"],
            "runs": one["runs"],
            "outside": one["outside"],
            "lowest": _whole(one["lowest"]),
            "highest": _whole(one["highest"]),
        }
        bounds, bound_unit = names.bounds(asked.chosen.site, name)
        told = [drift.drift(store, name, asked.chosen, bound=bound, unit=bound_unit) for bound in bounds or (None,)]
        row["slope"] = _number(told[0].slope)
        left = [(one.days_left, one.bound) for one in told if one.days_left is not None]
        row["left"], row["bound"] = (min(left)[0], _number(min(left)[1])) if left else (None, None)
        rows.append(row)
        if not row["masked"]:
            plots.append(_course(store, asked, name, unit, [convert(bound, bound_unit, unit) for bound in bounds]))
    columns = (
        Column("limit", "Limit"),
        Column("unit", "Unit"),
        Column("n", "Readings", number=True),
        RUNS,
        Column("outside", "Outside", number=True),
        Column("lowest", "Lowest", number=True),
        Column("highest", "Highest", number=True),
        Column("slope", "Change in 30 days", number=True),
        Column("bound", "Bound it nears", number=True),
        Column("left", "Days until then", number=True),
    )
    table = table_of(
        "Readings by limit", pd.DataFrame(rows, columns=[one.name for one in columns] + ["masked"]), columns
    )
    rig = (
        f"the rig {plain(asked.chosen.rig)}"
        if asked.chosen.rig
        else "all rigs together: choose one to see its own course"
    )
    note = (
        f"{MASK_NOTE} These are the readings of {rig}. Bounds are those of today's site file. A straight line through "
    )
    note += "the readings, no more: it knows nothing of what was repaired."
    return Shown("Readings", "Does what is measured creep towards a limit?", (table,), tuple(plots), note=note)


def _course(store: Store, asked: Asked, limit: str, unit: str, bounds: list[Decimal]) -> Lines:
    months = drift.readings_by_month(store, limit, asked.chosen)
    months = months[~months["masked"]]
    days = tuple(date.fromisoformat(f"{month}-01") for month in months["month"])
    return Lines(
        f"{plain(limit).capitalize()}: readings by month",
        unit,
        days,
        tuple(_whole(one) for one in months["mean"]),
        tuple(_whole(one) for one in months["lowest"]),
        tuple(_whole(one) for one in months["highest"]),
        tuple(float(one) for one in bounds),
    )


def _whole(thousandths: Any) -> float | None:
    return None if cell(thousandths) is None else int(thousandths) / 1000


def _number(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
