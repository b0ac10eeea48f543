"""What a view is asked and what it shows, and how a figure becomes a table of plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import pandas as pd

from assistant.debrief.blocks import Cell, Column, Table
from assistant.debrief.names import Names
from assistant.debrief.plots import Plot
from assistant.debrief.telling import plain
from assistant.fleet.filters import EVERYTHING, Filter

WALK_S: Final = 5
"""Seconds to walk to a step and look, until the trainer says how long it takes in their yard."""

MOST_BARS: Final = 45
MASK_NOTE: Final = "“masked”: fewer than 5 runs or 3 people, too few to be told from the people themselves."
PROCEDURE = Column("procedure", "Procedure")
RUNS = Column("runs", "Runs", number=True)
STEP: Final = (PROCEDURE, Column("step", "Step"), Column("words", "In words"))


@dataclass(frozen=True, slots=True)
class Asked:
    """What a trainer chose: filter, walking times, and a call sign to be held against the group.

    ``walk`` is seconds for all steps, ``walks`` for single ones.
    """

    chosen: Filter = EVERYTHING
    walk: int = WALK_S
    walks: Mapping[str, int] = field(default_factory=dict)
    by_person: bool = False
    call_sign: str = ""


@dataclass(frozen=True, slots=True)
class Shown:
    """A view worked out."""

    title: str
    question: str
    tables: tuple[Table, ...]
    plots: tuple[Plot, ...] = ()
    people: tuple[str, ...] = ()
    note: str = MASK_NOTE

    @property
    def seen(self) -> tuple[Plot, ...]:
        """The plots on which there is anything to be seen."""
        return tuple(one for one in self.plots if one.worth)


def in_order(names: Names, found: pd.DataFrame) -> pd.DataFrame:
    """Put steps in the order of their procedure, with their words."""
    place = [
        (str(one), names.place(str(one), str(step)), str(step))
        for one, step in zip(found["procedure"], found["step"], strict=True)
    ]
    words = [names.step(procedure, step) for procedure, _, step in place]
    found = found.assign(step=[plain(step) for _, _, step in place])
    ordered = found.assign(words=words, _place=place).sort_values("_place", kind="stable").drop(columns="_place")
    return ordered.reset_index(drop=True)


def with_share(found: pd.DataFrame, of: str, what: str = "not_understood") -> pd.DataFrame:
    """Add how many of a hundred, to a tenth; missing where masked."""
    ratio = 100 * found[what].astype("Float64") / found[of].astype("Float64")
    return found.assign(share=ratio.round(1))


def plotted(found: pd.DataFrame, by: str) -> list[tuple[str, pd.DataFrame]]:
    """Return the unmasked rows by group, as many as can be read in one plot."""
    open_rows = found[~found["masked"].astype(bool)]
    return [(str(name), part.head(MOST_BARS)) for name, part in open_rows.groupby(by, sort=True)]


def table_of(caption: str, found: pd.DataFrame, columns: tuple[Column, ...]) -> Table:
    """Return a frame as a table of plain values."""
    rows = [
        tuple(cell(one) for one in row) for row in found[[column.name for column in columns]].itertuples(index=False)
    ]
    masked = frozenset(at for at, one in enumerate(found["masked"]) if bool(one))
    return Table(caption, columns, rows, masked)


def cell(value: Any) -> Cell:
    """Return a value of a frame as plain text or number, None where it is missing."""
    if isinstance(value, str):
        return value
    if pd.isna(value):
        return None
    number = float(value)
    return int(number) if number.is_integer() else number


def cells(values: Any) -> tuple[Cell, ...]:
    """Return a column of a frame as plain values."""
    return tuple(cell(one) for one in values)
