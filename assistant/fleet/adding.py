"""New runs added to the tallies, in the transaction that writes their rows: never a moment in which they differ.

What is counted is told once, in `assistant.fleet.tally`; DuckDB works it out over the new rows alone, in this
process, and every count is then added to the one that is kept. So a run costs the same whatever a store holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Final, NamedTuple

import duckdb
import ibis
import ibis.expr.types as ir
import numpy as np
import pyarrow as pa
from ibis.expr.operations import Field, UnboundTable
from sqlalchemy.engine import Connection

from assistant.fleet.bulk import PARTS, columns_of, load
from assistant.fleet.rows import Row
from assistant.fleet.schema import Base, Reading, Run, Tally, Trend
from assistant.fleet.tables import RUN, named
from assistant.fleet.tally import tally, trend

_KEPT: Final = {Tally: tally, Trend: trend}
_ADDED: Final = {"people": "{a} | {b}", "lowest": "{least}({a}, {b})"} | dict.fromkeys(
    ("highest", "last_x"), "{most}({a}, {b})"
)
"""How two numbers of the same cell become one; any other is a sum."""


class _Part(NamedTuple):
    """A column that is counted by: its place in the rows of its table, its name, and its type."""

    place: int
    name: str
    kind: pa.DataType


class Adding:
    """Gathers the rows of new runs, only what is counted by; `finish` adds them to the tallies."""

    def __init__(self) -> None:
        tables: tuple[type[Base], ...] = (Run, *PARTS)
        self._gathered: dict[type[Base], list[pa.RecordBatch]] = {table: [] for table in tables}

    def gather(self, table: type[Base], columns: Sequence[Sequence[object]]) -> None:
        """Take the columns of rows that were written."""
        arrays = [pa.array(columns[part.place], part.kind) for part in _parts(table)]
        self._gathered[table].append(pa.record_batch(arrays, schema=_schema(table)))

    def finish(self, connection: Connection) -> None:
        """Add the runs gathered to the tallies."""
        if not self._gathered[Run]:
            return
        with _engine().cursor() as counting:
            for table, batches in self._gathered.items():
                counting.register(table.__tablename__, pa.Table.from_batches(batches, _schema(table)))
            for kept in _KEPT if self._gathered[Reading] else (Tally,):
                _add(connection, kept, _rows(kept, counting.sql(_question(kept)).to_arrow_table()))
        self._gathered = {table: [] for table in self._gathered}


@cache
def _engine() -> duckdb.DuckDBPyConnection:
    """Return DuckDB, started once: that takes longer than most questions. On one processor: the others verify logs."""
    return duckdb.connect(config={"threads": 1})


def _rows(kept: type[Base], cells: pa.Table) -> list[Row]:
    """Return cells as rows; a text that comes again and again is made once."""
    columns = []
    for column in cells.cast(named(kept).schema().to_pyarrow()).itercolumns():  # DuckDB's sums are of 128 bits
        if pa.types.is_string(column.type):
            told = column.combine_chunks().dictionary_encode()
            columns.append(np.array(told.dictionary.to_pylist(), dtype=object)[told.indices.to_numpy()].tolist())
        else:
            columns.append(column.to_numpy().tolist())
    return list(zip(*columns, strict=True))


def _add(connection: Connection, kept: type[Base], cells: Sequence[Row]) -> None:
    """Add cells to those that are kept; new ones are written as they are."""
    if not cells:
        return
    name = kept.__tablename__
    if connection.dialect.name == "sqlite":
        load(connection, kept, cells, _meeting(kept, sqlite=True))
        return
    connection.exec_driver_sql(f"CREATE TEMPORARY TABLE fresh_{name} (LIKE {name}) ON COMMIT DROP")
    load(connection, kept, cells, into=f"fresh_{name}")
    columns = ", ".join(columns_of(kept))
    connection.exec_driver_sql(
        f"INSERT INTO {name} ({columns}) SELECT {columns} FROM fresh_{name} {_meeting(kept, sqlite=False)}"  # noqa: S608
    )


def _meeting(kept: type[Base], *, sqlite: bool) -> str:
    """Return what an INSERT does with a cell that is there already."""
    keys = [column.name for column in kept.__table__.primary_key]
    least, most = ("min", "max") if sqlite else ("least", "greatest")
    sums = []
    for name in columns_of(kept):
        if name not in keys:
            both = {"a": f"{kept.__tablename__}.{name}", "b": f"excluded.{name}", "least": least, "most": most}
            sums.append(f"{name} = {_ADDED.get(name, '{a} + {b}').format(**both)}")
    return f"ON CONFLICT ({', '.join(keys)}) DO UPDATE SET {', '.join(sums)}"


@cache
def _told(kept: type[Base]) -> ir.Table:
    """Return the counts of all rows there are, in the order of their keys: so the database finds its way quicker."""
    told = _KEPT[kept](RUN)
    return told.select(*columns_of(kept)).order_by(*(column.name for column in kept.__table__.primary_key))


@cache
def _question(kept: type[Base]) -> str:
    return str(ibis.to_sql(_told(kept), "duckdb"))


@cache
def _parts(table: type[Base]) -> tuple[_Part, ...]:
    """Return the columns of a table that anything is counted by."""
    fields = {field for kept in _KEPT for field in _told(kept).op().find(Field)}
    names = {one.name for one in fields if isinstance(one.rel, UnboundTable) and one.rel.name == table.__tablename__}
    kinds = named(table).schema()
    return tuple(
        _Part(place, name, kinds[name].to_pyarrow()) for place, name in enumerate(columns_of(table)) if name in names
    )


@cache
def _schema(table: type[Base]) -> pa.Schema:
    return pa.schema([(part.name, part.kind) for part in _parts(table)])
