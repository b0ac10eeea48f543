"""How rigs do: readings that creep towards a limit."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Final

import pandas as pd

from assistant.debrief.asked import MASK_NOTE, RUNS, Asked, Shown, cell, table_of
from assistant.debrief.blocks import Column
from assistant.debrief.names import Names
from assistant.debrief.plots import Points
from assistant.debrief.telling import plain
from assistant.fleet import drift
from assistant.fleet.figures import Fleet
from assistant.phrases.units import convert

_COLUMNS: Final = (
    Column("limit", "Limit"), Column("unit", "Unit"), Column("n", "Readings", number=True), RUNS,
    Column("outside", "Outside", number=True), Column("lowest", "Lowest", number=True),
    Column("highest", "Highest", number=True), Column("slope", "Change in 30 days", number=True),
    Column("bound", "Bound it nears", number=True), Column("left", "Days until then", number=True),
)  # fmt: skip
_FIRST_DAY: Final = date(1970, 1, 1)
_LINE: Final = "A straight line through the readings, no more: it knows nothing of what was repaired."


def readings(store: Fleet, names: Names, asked: Asked) -> Shown:
    """Show the readings of each limit, for one rig or all, and whether they creep towards it."""
    found = drift.limits_read(store, asked.chosen)
    rows, plots = [], []
    for one in found.to_dict("records"):
        row, plot = _limit(store, names, asked, {str(name): value for name, value in one.items()})
        rows.append(row)
        if plot is not None:
            plots.append(plot)
    frame = pd.DataFrame(rows, columns=[*(one.name for one in _COLUMNS), "masked"])
    whose = f"the rig {plain(asked.chosen.rig)}" if asked.chosen.rig else "all rigs together; choose one for its own"
    site = plain(asked.chosen.site) if asked.chosen.site else "the shipped default, for no site is chosen"
    note = f"{MASK_NOTE} These are the readings of {whose}. The bounds are those of the site file of {site}. {_LINE}"
    table = table_of("Readings by limit", frame, _COLUMNS)
    return Shown("Readings", "Does what is measured creep towards a limit?", (table,), tuple(plots), note=note)


def _limit(store: Fleet, names: Names, asked: Asked, one: dict[str, Any]) -> tuple[dict[str, object], Points | None]:
    """Return the row of a limit, in the unit of its bounds, and its plot; None where it is masked."""
    name, base = str(one["limit_name"]), str(one["base_unit"])
    bounds, unit = names.bounds(asked.chosen.site, name)
    shown = unit or base

    def told(value: Decimal | None) -> float | None:
        return None if value is None else round(float(convert(value, base, shown)), 2)

    found = [drift.drift(store, name, asked.chosen, bound=bound, unit=unit) for bound in bounds or (None,)]
    left = [(line.days_left, line.bound) for line in found if line.days_left is not None]
    days, bound = min(left, default=(None, None))
    row: dict[str, object] = {
        "limit": plain(name), "unit": shown, "masked": bool(one["masked"]), "n": one["n"], "runs": one["runs"],
        "outside": one["outside"], "lowest": told(_whole(one["lowest"])), "highest": told(_whole(one["highest"])),
        "slope": told(found[0].slope), "bound": told(bound), "left": days,
    }  # fmt: skip
    if row["masked"]:
        return row, None
    points = drift.reading_points(store, name, asked.chosen)
    values = tuple(told(Decimal(int(milli)) / 1000) or 0.0 for milli in points["milli"])
    return row, Points(
        f"{plain(name).capitalize()}: each reading", shown,
        tuple(_FIRST_DAY + timedelta(days=int(day)) for day in points["day"]), values,
        tuple(not bool(within) for within in points["within"]), tuple(float(one) for one in bounds),
    )  # fmt: skip


def _whole(thousandths: Any) -> Decimal | None:
    return None if cell(thousandths) is None else Decimal(int(thousandths)) / 1000
