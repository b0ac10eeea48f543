"""What a store holds, told so that two stores can be held against each other: without numbers of its own."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from assistant.fleet.schema import Base, Hearing, Reading, Refusal, Run, Tablet, Tally, Trend, Visit
from assistant.fleet.store import Store

_OWN = {"id", "tablet_id", "run_id", "source", "source_size", "source_mtime_ns"}


def contents(store: Store) -> dict[str, list[tuple[Any, ...]]]:
    """Return all rows of runs that count, with their runs' names and keys, and all tallies, sorted.

    Of a disputed run only its name: what it would count is nowhere in the tallies.
    """
    with store.reading() as connection:
        named = {
            row.id: ((row.key, row.run), row.state)
            for row in connection.execute(sa.select(Run.id, Tablet.key, Run.run, Run.state).join(Tablet))
        }
        sound = {number: name for number, (name, state) in named.items() if state != "disputed"}
        told: dict[str, list[tuple[Any, ...]]] = {
            "disputed": sorted(name for name, state in named.values() if state == "disputed")
        }
        for table in (Run, Visit, Refusal, Hearing, Reading):
            number = "id" if table is Run else "run_id"
            rows = [row._mapping for row in connection.execute(sa.select(table.__table__))]
            told[table.__tablename__] = sorted(
                (*sound[row[number]], *(_plain(value) for name, value in row.items() if name not in _OWN))
                for row in rows
                if row[number] in sound
            )
        for table in (Tally, Trend):
            told[table.__tablename__] = _rows(connection, table)
    return told


def _rows(connection: sa.Connection, table: type[Base]) -> list[tuple[Any, ...]]:
    return sorted(tuple(map(_plain, row)) for row in connection.execute(sa.select(table.__table__)))


def _plain(value: Any) -> Any:
    """A value that sorts: nothing comes before everything."""
    return (value is not None, value)
