"""How rigs do: readings that creep towards a limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    found = drift.limits_read(store, asked.chosen).to_dict("records")
    limits = [_Limit.of(names, asked, {str(name): value for name, value in one.items()}) for one in found]
    lines = drift.drifts(store, {one.name: one.wanted for one in limits}, asked.chosen)
    rows, plots = [], []
    for limit in limits:
        rows.append(limit.row(lines[limit.name]))
        if not limit.read["masked"]:
            plots.append(limit.plot(store, asked))
    frame = pd.DataFrame(rows, columns=[*(one.name for one in _COLUMNS), "masked"])
    whose = f"the rig {plain(asked.chosen.rig)}" if asked.chosen.rig else "all rigs together; choose one for its own"
    site = plain(asked.chosen.site) if asked.chosen.site else "the shipped default, for no site is chosen"
    note = f"{MASK_NOTE} These are the readings of {whose}. The bounds are those of the site file of {site}. {_LINE}"
    table = table_of("Readings by limit", frame, _COLUMNS)
    return Shown("Readings", "Does what is measured creep towards a limit?", (table,), tuple(plots), note=note)


@dataclass(frozen=True, slots=True)
class _Limit:
    """A limit with what was read of it, told in the unit of its bounds."""

    name: str
    base: str
    unit: str
    bounds: tuple[Decimal, ...]
    read: dict[str, Any]

    @classmethod
    def of(cls, names: Names, asked: Asked, read: dict[str, Any]) -> _Limit:
        """Look up the bounds that the site's files give."""
        name, base = str(read["limit_name"]), str(read["base_unit"])
        bounds, unit = names.bounds(asked.chosen.site, name)
        return cls(name, base, unit or base, tuple(bounds), read)

    @property
    def wanted(self) -> tuple[drift.Bound, ...]:
        """The bounds a line may meet; none known: the line alone."""
        return tuple((bound, self.unit) for bound in self.bounds) or (None,)

    def told(self, value: Decimal | None) -> float | None:
        """Return a value of the base unit as it is shown."""
        return None if value is None else round(float(convert(value, self.base, self.unit)), 2)

    def row(self, lines: Sequence[drift.Drift]) -> dict[str, object]:
        """Return its row in the table: of the bounds the one that is met first."""
        left = [(line.days_left, line.bound) for line in lines if line.days_left is not None]
        days, bound = min(left, default=(None, None))
        read = self.read
        return {
            "limit": plain(self.name), "unit": self.unit, "masked": bool(read["masked"]), "n": read["n"],
            "runs": read["runs"], "outside": read["outside"], "lowest": self.told(_whole(read["lowest"])),
            "highest": self.told(_whole(read["highest"])), "slope": self.told(lines[0].slope),
            "bound": self.told(bound), "left": days,
        }  # fmt: skip

    def plot(self, store: Fleet, asked: Asked) -> Points:
        """Return its newest readings as a plot."""
        points = drift.reading_points(store, self.name, asked.chosen)
        values = tuple(self.told(Decimal(int(milli)) / 1000) or 0.0 for milli in points["milli"])
        return Points(
            f"{plain(self.name).capitalize()}: the newest {drift.NEWEST} readings at most", self.unit,
            tuple(_FIRST_DAY + timedelta(days=int(day)) for day in points["day"]), values,
            tuple(not bool(within) for within in points["within"]), tuple(float(one) for one in self.bounds),
        )  # fmt: skip


def _whole(thousandths: Any) -> Decimal | None:
    return None if cell(thousandths) is None else Decimal(int(thousandths)) / 1000
