"""The store: a database opened, brought up to date, and asked."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import ibis
import ibis.expr.types as ir
import numpy as np
import pandas as pd
import sqlalchemy as sa
from alembic import command
from alembic.config import Config
from alembic.util.exc import CommandError
from ibis.expr.operations import Node
from ibis.formats.pandas import PandasData
from sqlalchemy.engine import URL, Connection, Engine, make_url
from sqlalchemy.exc import ArgumentError, SQLAlchemyError

from assistant.errors import InputError, LogError

if TYPE_CHECKING:
    import psycopg  # only with the extra "postgres"

BUSY_S = 30
_CACHE_KIB = 64 * 1024
_NEWEST = "head"
_MIGRATING = 4_862_001  # any number of our own: the key of the lock that two programs at once wait for


class Store:
    """A fleet store in SQLite (a path) or PostgreSQL ("postgresql://…"), made and migrated when opened.

    Figures are asked of it with `frame`; safe to call from several threads.
    Raises `InputError` for an address that names no store and `LogError` when the database does not answer.
    """

    def __init__(self, address: str | Path) -> None:
        self.url = _url(address)
        self.sqlite = self.url.get_backend_name() == "sqlite"
        shown = self.url.set(drivername=self.url.get_backend_name())
        self.place = str(self.url.database) if self.sqlite else shown.render_as_string(hide_password=True)
        self._errors = _errors(sqlite=self.sqlite)
        options: dict[str, Any] = {}
        if not self.sqlite:  # a connection that the server has dropped is told by asking before use
            options = {"pool_pre_ping": True, "connect_args": {"connect_timeout": 10}}
        self.engine: Engine = sa.create_engine(self.url, **options)
        sa.event.listen(self.engine, "connect", _prepare_sqlite if self.sqlite else _prepare_postgresql)
        if self.sqlite:
            sa.event.listen(self.engine, "begin", _begin_sqlite)
        with self.writing() as connection:
            _migrate(connection)

    def frame(self, told: ir.Table, given: Mapping[ir.Scalar, str] | None = None) -> pd.DataFrame:
        """Return what an expression over the store's tables comes to, its parameters ``given``."""
        given = given or {}
        asked = _sql(told.op(), tuple(name.op() for name in given), sqlite=self.sqlite)
        with self.reading() as connection:
            values = {f"given_{place}": value for place, value in enumerate(given.values())}
            rows = connection.exec_driver_sql(asked, values or None).fetchall()
        return _framed(rows, told.schema())

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction that writes: all of it is kept, or nothing."""
        with self.trouble(), self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            yield connection

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One look at the rows themselves."""
        with self.trouble(), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def trouble(self) -> Iterator[None]:
        """Turn a database's own errors into one sentence."""
        try:
            yield
        except self._errors as error:
            raise LogError(f"The fleet store {self.place} does not answer: {_reason(error)}") from error


def _url(address: str | Path) -> URL:
    text = str(address)
    if "://" not in text:
        path = Path(text)
        if path.is_dir():
            raise InputError(f"{path} is a folder: name the file the fleet store is to be in.")
        if not path.absolute().parent.is_dir():
            raise InputError(f"There is no folder {path.absolute().parent} for the fleet store.")
        return URL.create("sqlite", database=str(path.absolute()))
    try:
        url = make_url(text)
        if url.get_backend_name() == "postgresql":
            return url.set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError) as error:
        raise InputError(f"{text!r} is no address of a database: write postgresql://USER@HOST/NAME.") from error
    raise InputError(f"The fleet store lives in a SQLite file or in PostgreSQL, not in {url.get_backend_name()}.")


def _errors(*, sqlite: bool) -> tuple[type[Exception], ...]:
    """Return what the database's own driver raises; InputError when PostgreSQL's is not installed."""
    if sqlite:
        return (SQLAlchemyError, sqlite3.Error)
    try:
        import psycopg  # noqa: PLC0415 - only with the extra "postgres"
    except ImportError as error:
        raise InputError("PostgreSQL needs its extra: pip install 'hitchcall[postgres]'.") from error
    return (SQLAlchemyError, psycopg.Error)


def _reason(error: Exception) -> str:
    """Return the first line of what the driver says, without the statement."""
    told = str(getattr(error, "orig", None) or error).strip() or type(error).__name__
    return told.splitlines()[0].rstrip(".") + "."


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    connection.isolation_level = None  # transactions begin where `_begin_sqlite` says, not by guess
    for pragma in ("journal_mode=WAL", "synchronous=FULL", f"busy_timeout={BUSY_S * 1000}", "foreign_keys=OFF"):
        connection.execute(f"PRAGMA {pragma}")
    _lend(connection)


def _prepare_postgresql(connection: psycopg.Connection, _record: object) -> None:
    """Tell the planner that a look into an index costs little, as on any disk of today, and not to compile.

    Otherwise it reads whole tables for a person's few hundred runs, and makes machine code for longer than a
    page may take.
    """
    with connection.cursor() as cursor:
        cursor.execute("SET random_page_cost = 1.1")
        cursor.execute("SET jit = off")
    connection.commit()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


class _BitOr:
    """The aggregate that SQLite lacks."""

    def __init__(self) -> None:
        self.marks = 0

    def step(self, marks: int) -> None:
        self.marks |= marks

    def finalize(self) -> int:
        return self.marks


def _lend(connection: sqlite3.Connection) -> None:
    """Lend a SQLite connection what the figures need."""
    connection.execute(f"PRAGMA cache_size=-{_CACHE_KIB}")
    connection.create_aggregate("bit_or", 1, _BitOr)


@lru_cache(maxsize=1024)
def _sql(told: Node, given: tuple[Node, ...], *, sqlite: bool) -> str:
    """Return an expression in the database's own words. That takes longer than most answers, and is asked again."""
    stand_ins = [f"\u2063given {place}\u2063" for place in range(len(given))]
    params = {name.to_expr(): told for name, told in zip(given, stand_ins, strict=True)}
    asked = str(ibis.to_sql(told.to_expr(), "sqlite" if sqlite else "postgres", params=params))
    if not sqlite:
        # Nothing that is ordered by is ever null, and PostgreSQL goes backwards along an index only without this.
        asked = asked.replace(" DESC NULLS LAST", " DESC").replace("%", "%%")  # a mark of psycopg's
    for place, stand_in in enumerate(stand_ins):
        asked = asked.replace(f"'{stand_in}'", f":given_{place}" if sqlite else f"%(given_{place})s")
    return asked


def _framed(rows: Sequence[Any], schema: ibis.Schema) -> pd.DataFrame:
    """Return rows as a frame of the types that Ibis gives; whole numbers and truths, the most, by the quick way."""
    columns = {}
    told = zip(*rows, strict=True) if rows else [()] * len(schema)
    for (name, kind), values in zip(schema.items(), told, strict=True):
        quick = np.int64 if kind.is_integer() else np.bool_ if kind.is_boolean() else None
        if quick is not None and None not in values:
            columns[name] = pd.Series(np.array(values, dtype=quick))
        else:
            columns[name] = PandasData.convert_column(pd.Series(values, dtype=object, name=name), kind)
    return pd.DataFrame(columns)


def _migrate(connection: Connection) -> None:
    """Bring the tables up to date; LogError when a newer program made them."""
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_MIGRATING})")
    config = Config()
    config.set_main_option("script_location", "assistant.fleet:migrations")
    config.attributes["connection"] = connection
    logging.getLogger("alembic").setLevel(logging.WARNING)
    try:
        command.upgrade(config, _NEWEST)
    except CommandError as error:
        raise LogError(f"The fleet store was made by a newer program: update this one ({error}).") from error
