"""A store's runs written as Parquet, by month and site: for figures over more runs than one database holds.

    FOLDER/run/month=2031-05/site=us-handbook/part.parquet, and so for visit, refusal, hearing and reading

Only runs that count are written. A copy that lies elsewhere is out of reach of ``log forget``, so it holds no
call sign, no link to a log and no path; people can still be counted, for the masks. A run's number is made
from its tablet's key and its id, so that exports of several stores lie side by side.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import pyarrow as pa
import pyarrow.parquet as pq
import sqlalchemy as sa
from sqlalchemy import BigInteger, Boolean, Integer, LargeBinary, String
from sqlalchemy.engine import Connection

from assistant.errors import InputError
from assistant.fleet.bulk import PARTS
from assistant.fleet.mark import MARK, is_export
from assistant.fleet.schema import Base, Run, Tablet
from assistant.fleet.store import Store

TABLES: tuple[type[Base], ...] = (*PARTS, Run)
"""What is written of each month and site; runs last, so that a partition without them is not whole."""

_BLANK: Mapping[str, object] = {"call_sign": "", "source": "", "source_size": 0, "source_mtime_ns": 0, "links": b""}
_BY_PATH = ("month", "site")
_STATE = b"hitchcall.state"
_AT_ONCE = 20_000
_TYPES = (
    (BigInteger, pa.int64()), (Integer, pa.int64()), (Boolean, pa.bool_()), (String, pa.string()),
    (LargeBinary, pa.binary()),
)  # fmt: skip
_RUN = Run.__table__

Place = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Written:
    """What an export came to: partitions ``written``, found ``unchanged`` and ``removed``, and ``runs`` in all."""

    written: int
    unchanged: int
    removed: int
    runs: int


def export(store: Store, folder: Path, progress: Callable[[int, int], None] = lambda _done, _of: None) -> Written:
    """Bring ``folder`` to what the store holds; months and sites that have not changed are left as they are.

    Broken off, it goes on the next time. Raises `InputError` when the folder holds something else or cannot
    be written, `LogError` when the database goes away.
    """
    if folder.exists() and any(folder.iterdir()) and not is_export(folder):
        raise InputError(f"{folder} holds something else: name a new folder for the export.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not is_export(folder):
            (folder / MARK).touch()
        with store.reading() as connection:
            if not store.sqlite:  # one moment's store, whatever is taken in meanwhile
                connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            return _export(connection, folder, progress)
    except OSError as error:
        raise InputError(f"The export {folder} cannot be written: {(error.strerror or str(error)).lower()}.") from error


def _export(connection: Connection, folder: Path, progress: Callable[[int, int], None]) -> Written:
    places = [
        (row[0], row[1])
        for row in connection.execute(
            sa.select(Run.month, Run.site).where(Run.state != "disputed").distinct().order_by(Run.month, Run.site)
        )
    ]
    written = runs = 0
    for done, place in enumerate(places):
        rows = _runs(connection, place)
        runs += len(rows)
        state = _state(rows)
        if _state_of(_part(folder, Run, place)) != state:
            _write(connection, folder, place, rows, state)
            written += 1
        progress(done + 1, len(places))
    return Written(written, len(places) - written, _remove_others(folder, places), runs)


def _runs(connection: Connection, place: Place) -> dict[int, dict[str, object]]:
    """Return a partition's runs by their number in the store, as they are written."""
    asked = (
        sa.select(_RUN, Tablet.key.label("key")).join(Tablet, Tablet.id == Run.tablet_id)
        .where(Run.month == place[0], Run.site == place[1], Run.state != "disputed").order_by(Tablet.key, Run.run)
    )  # fmt: skip
    found = {}
    for row in connection.execute(asked):
        told: dict[str, object] = {**row._mapping, **_BLANK}
        key = str(told.pop("key"))
        told["id"], told["tablet_id"] = number_of(key, row.run), number_of(key)
        found[row.id] = told
    return found


def number_of(key: str, run: str = "") -> int:
    """Return the number that a tablet, or a run of it, has in every export: 63 bits of a hash."""
    return int.from_bytes(hashlib.sha256(f"{key}/{run}".encode()).digest()[:8], "big") >> 1


def _state(rows: Mapping[int, Mapping[str, object]]) -> bytes:
    """Return what changes when any run of a partition does; a run's rows are told by how many records it has."""
    told = [[row["id"], row["state"], row["records"], row["forgotten"]] for row in rows.values()]
    return hashlib.sha256(repr([told, *map(_columns, TABLES)]).encode()).hexdigest().encode()


def _state_of(part: Path) -> bytes:
    try:
        return bytes((pq.read_schema(part).metadata or {}).get(_STATE, b""))
    except (OSError, pa.ArrowInvalid):
        return b""


def _part(folder: Path, table: type[Base], place: Place) -> Path:
    month, site = (quote(name, safe="") for name in place)
    return folder / str(table.__tablename__) / f"month={month}" / f"site={site}" / "part.parquet"


def _write(
    connection: Connection, folder: Path, place: Place, runs: Mapping[int, dict[str, object]], state: bytes
) -> None:
    """Write a month and site anew. Without its runs, which come last, a partition counts for nothing."""
    _part(folder, Run, place).unlink(missing_ok=True)
    for table in PARTS:
        columns = table.__table__.c
        of_place = (Run.month == place[0], Run.site == place[1], Run.state != "disputed")
        asked = sa.select(*columns).join(_RUN, _RUN.c.id == columns.run_id).where(*of_place)
        asked = asked.order_by(columns.run_id, columns.seq)
        rows = connection.execution_options(yield_per=_AT_ONCE).execute(asked)
        numbered = ([(runs[row[0]]["id"], *row[1:]) for row in some] for some in rows.partitions())
        _save(_part(folder, table, place), _columns(table), numbered)
    names = _columns(Run)
    told = [tuple(row[name] for name in names.names) for row in runs.values()]
    _save(_part(folder, Run, place), names.with_metadata({_STATE: state}), [told])


def _columns(table: type[Base]) -> pa.Schema:
    """Return the columns of a table's file; month and site stand in its path alone."""
    left_out = _BY_PATH if table is Run else ()
    columns = [one for one in table.__table__.columns if one.name not in left_out]
    return pa.schema([(one.name, next(told for kind, told in _TYPES if isinstance(one.type, kind))) for one in columns])


def _save(part: Path, schema: pa.Schema, some: Iterable[Sequence[Sequence[object]]]) -> None:
    part.parent.mkdir(parents=True, exist_ok=True)
    fresh = part.with_name(".fresh")
    with pq.ParquetWriter(fresh, schema, compression="zstd") as writer:
        for rows in some:
            told = list(zip(*rows, strict=True)) or [()] * len(schema)
            columns = [pa.array(values, kind) for values, kind in zip(told, schema.types, strict=True)]
            writer.write_batch(pa.record_batch(columns, schema=schema))
    os.replace(fresh, part)  # noqa: PTH105 - the same


def _remove_others(folder: Path, places: Sequence[Place]) -> int:
    """Take away months and sites that have no runs any more."""
    removed = set()
    for table in reversed(TABLES):
        kept = {_part(folder, table, place).parent for place in places}
        for part in (folder / table.__tablename__).glob("*/*"):
            if part not in kept:
                shutil.rmtree(part)
                removed.add(part.relative_to(folder / table.__tablename__))
    return len(removed)
