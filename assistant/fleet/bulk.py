"""Many rows put into a database at once, as fast as it takes them."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from sqlalchemy import BigInteger, Boolean, Integer, LargeBinary, String
from sqlalchemy.engine import Connection

from assistant.fleet.rows import Row
from assistant.fleet.schema import Base, Hearing, Reading, Refusal, Visit

PARTS: tuple[type[Base], ...] = (Visit, Refusal, Hearing, Reading)
"""The tables of a run's own rows."""

_KINDS = ((BigInteger, "int8"), (Integer, "int4"), (Boolean, "bool"), (String, "text"), (LargeBinary, "bytea"))


@cache
def columns_of(table: type[Base]) -> tuple[str, ...]:
    """Return the names of a table's columns, in their order."""
    return tuple(column.name for column in table.__table__.columns)


@cache
def _kinds(table: type[Base]) -> tuple[str, ...]:
    """Return PostgreSQL's names of the types of a table's columns."""
    return tuple(
        next(name for kind, name in _KINDS if isinstance(column.type, kind)) for column in table.__table__.columns
    )


def load(connection: Connection, table: type[Base], rows: Iterable[Row], meeting: str = "", into: str = "") -> None:
    """Put rows in, within the transaction.

    ``meeting`` is SQLite's clause for rows that are there already; ``into`` another table of the same columns.
    """
    columns = columns_of(table)
    name, listed = into or table.__tablename__, ", ".join(columns)
    driver = connection.connection.driver_connection
    assert driver is not None  # noqa: S101 - a connection in a transaction has one
    if connection.dialect.name == "sqlite":
        places = ", ".join("?" * len(columns))
        driver.executemany(f"INSERT INTO {name} ({listed}) VALUES ({places}) {meeting}", rows)  # noqa: S608
        return
    # In binary nothing is made text here and read again there: this side needs half the time.
    with driver.cursor() as cursor, cursor.copy(f"COPY {name} ({listed}) FROM STDIN (FORMAT binary)") as copy:
        copy.set_types(_kinds(table))
        for row in rows:
            copy.write_row(row)
