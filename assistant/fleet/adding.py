"""New runs added to the tallies, in the transaction that writes their rows: never a moment in which they differ.

What is counted is told once, in `assistant.fleet.tally`; DuckDB works it out over the new rows alone, in this
process, and every count is then added to the one that is kept. So a run costs the same whatever a store holds.

Rows are counted some thousand runs at a time, while other processors still verify the next ones; what is left for
the end is to add the counts up over sites, rigs and months, and to write them.
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
from assistant.fleet.tally import counts, levels, sums, together

_KEPT: Final = {Tally: counts, Trend: sums}
_ADDED: Final = {"people": "{a} | {b}", "lowest": "{least}({a}, {b})"} | dict.fromkeys(
    ("highest", "last_x"), "{most}({a}, {b})"
)
"""How two numbers of the same cell become one; any other is a sum."""
_CELLS: Final = "cells"


class _Part(NamedTuple):
    """A column that is counted by: its place in the rows of its table, its name, and its type."""

    place: int
    name: str
    kind: pa.DataType


class Adding:
    """Gathers the rows of new runs, only what is counted by; `count` counts them, `finish` adds to the tallies."""

    def __init__(self) -> None:
        tables: tuple[type[Base], ...] = (Run, *PARTS)
        self._gathered: dict[type[Base], list[pa.RecordBatch]] = {table: [] for table in tables}
        self._cells: dict[type[Base], list[pa.Table]] = {kept: [] for kept in _KEPT}

    def gather(self, table: type[Base], columns: Sequence[Sequence[object]]) -> None:
        """Take the columns of rows that were written."""
        arrays = [pa.array(columns[part.place], part.kind) for part in _parts(table)]
        self._gathered[table].append(pa.record_batch(arrays, schema=_schema(table)))

    def count(self) -> None:
        """Count what was gathered: whole runs, with all their rows."""
        if not self._gathered[Run]:
            return
        with _engine().cursor() as counting:
            for table, batches in self._gathered.items():
                counting.register(table.__tablename__, pa.Table.from_batches(batches, _schema(table)))
            for kept in _KEPT if self._gathered[Reading] else (Tally,):
                cells = counting.sql(_counting(kept)).to_arrow_table()
                self._cells[kept].append(cells.cast(_cells(kept).schema().to_pyarrow()))
        self._gathered = {table: [] for table in self._gathered}

    def finish(self, connection: Connection) -> None:
        """Add the runs gathered to the tallies."""
        self.count()
        with _engine().cursor() as counting:
            for kept, some in self._cells.items():
                if some:
                    counting.register(_CELLS, pa.concat_tables(some))
                    _add(connection, kept, _rows(kept, counting.sql(_levelling(kept)).to_arrow_table()))
        self._cells = {kept: [] for kept in _KEPT}


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
        keys = ", ".join(column.name for column in kept.__table__.primary_key)
        load(connection, kept, cells, f"ON CONFLICT ({keys}) DO UPDATE SET {_sums(kept, 'excluded', sqlite=True)}")
        return
    connection.exec_driver_sql(f"CREATE TEMPORARY TABLE fresh (LIKE {name}) ON COMMIT DROP")
    load(connection, kept, cells, into="fresh")
    connection.exec_driver_sql(_merging(kept))
    connection.exec_driver_sql("DROP TABLE fresh")


@cache
def _merging(kept: type[Base]) -> str:
    """Return PostgreSQL's statement that adds the cells in ``fresh``: a third of the time of ON CONFLICT.

    Nobody else writes meanwhile (`write.alone`), so what is not met is not there.
    """
    name, columns = kept.__tablename__, ", ".join(columns_of(kept))
    keys = [column.name for column in kept.__table__.primary_key]
    same = " AND ".join(f"{name}.{key} = fresh.{key}" for key in keys)
    return (
        f"WITH met AS (UPDATE {name} SET {_sums(kept, 'fresh', sqlite=False)} FROM fresh "  # noqa: S608
        f"WHERE {same} RETURNING fresh.ctid AS place) "
        f"INSERT INTO {name} ({columns}) SELECT {columns} FROM fresh "
        "WHERE NOT EXISTS (SELECT 1 FROM met WHERE met.place = fresh.ctid)"
    )


def _sums(kept: type[Base], other: str, *, sqlite: bool) -> str:
    """Return how the counts of a cell and those of the ``other`` become one."""
    keys = {column.name for column in kept.__table__.primary_key}
    least, most = ("min", "max") if sqlite else ("least", "greatest")
    sums = []
    for name in columns_of(kept):
        if name not in keys:
            both = {"a": f"{kept.__tablename__}.{name}", "b": f"{other}.{name}", "least": least, "most": most}
            sums.append(f"{name} = {_ADDED.get(name, '{a} + {b}').format(**both)}")
    return ", ".join(sums)


@cache
def _cells(kept: type[Base]) -> ir.Table:
    """Return the counts of all rows there are, for single sites, rigs and months, in whole numbers of 64 bits."""
    told = _KEPT[kept](RUN)
    return told.cast({name: kind for name, kind in named(kept).schema().items() if kind.is_integer()})


@cache
def _counting(kept: type[Base]) -> str:
    return str(ibis.to_sql(_cells(kept), "duckdb"))


@cache
def _levelling(kept: type[Base]) -> str:
    """Return the question for the counts of all sites, rigs and months too, in the order of their keys.

    In that order the database finds its way quicker.
    """
    told = levels(together(ibis.table(_cells(kept).schema(), name=_CELLS))).select(*columns_of(kept))
    return str(ibis.to_sql(told.order_by(*(column.name for column in kept.__table__.primary_key)), "duckdb"))


@cache
def _parts(table: type[Base]) -> tuple[_Part, ...]:
    """Return the columns of a table that anything is counted by."""
    fields = {field for kept in _KEPT for field in _cells(kept).op().find(Field)}
    names = {one.name for one in fields if isinstance(one.rel, UnboundTable) and one.rel.name == table.__tablename__}
    kinds = named(table).schema()
    return tuple(
        _Part(place, name, kinds[name].to_pyarrow()) for place, name in enumerate(columns_of(table)) if name in names
    )


@cache
def _schema(table: type[Base]) -> pa.Schema:
    return pa.schema([(part.name, part.kind) for part in _parts(table)])
