"""Writing runs into the store: each once, the longest sound copy, and never two that contradict each other.

A run is known by its tablet's key and its own id. Of two copies the longer one counts when the shorter is
its beginning, record for record. When they part, nobody can say which is true: both go into quarantine and
the run counts nowhere, whichever came first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from assistant.fleet.examine import FOREIGN, Examined, Reason
from assistant.fleet.rows import LINK, Chunk, Facts, Row
from assistant.fleet.schema import Base, Hearing, Quarantine, Reading, Refusal, Run, Stale, Tablet, Visit
from assistant.journal.keys import fingerprint

PARTS: tuple[type[Base], ...] = (Visit, Refusal, Hearing, Reading)
_AT_ONCE = 20_000
_ASKED_AT_ONCE = 500
_WRITING = 4_862_002  # any number of our own: the key of the lock under which runs are numbered and counted
_WRITTEN: tuple[type[Base], ...] = (Run, *PARTS, Quarantine)
_COLUMNS = {table: tuple(column.name for column in table.__table__.columns) for table in _WRITTEN}


class Fate(StrEnum):
    """What became of a file."""

    NEW = "new"
    LONGER = "longer"
    KNOWN = "known"
    QUARANTINED = "quarantined"


@dataclass(frozen=True, slots=True)
class _Stored:
    """What the store has of a run already."""

    id: int
    state: str
    records: int
    links: bytes
    source: str
    size: int
    mtime_ns: int
    procedure: str
    month: str


class Writing:
    """Puts runs into the store within one transaction; ``close`` writes what is still held back."""

    def __init__(self, connection: Connection, names: Mapping[str, str], now_ms: int) -> None:
        self._connection = connection
        self._names = names
        self._now = now_ms
        alone(connection)
        self._tablets: dict[str, int] = {}
        self._next = (connection.scalar(sa.select(sa.func.max(Run.id))) or 0) + 1
        self._held: dict[type[Base], list[Row]] = {table: [] for table in _WRITTEN}
        self._fresh: set[tuple[str, str]] = set()  # held back, so not to be found in the database yet
        self._known: dict[tuple[str, str], _Stored] = {}
        self._stale: set[tuple[str, str]] = set()
        self._foreign = set(connection.scalars(sa.select(Quarantine.path).where(Quarantine.reason == FOREIGN)))

    def look_up(self, facts: Iterable[Facts]) -> None:
        """Find what the store has of runs that are about to be put in, all at once."""
        rest = iter(facts)
        while some := list(islice(rest, _ASKED_AT_ONCE)):
            self._known.update(self._stored([one.opened.run for one in some]))
            keys = sorted({one.key for one in some} - set(self._tablets))
            found = self._connection.execute(sa.select(Tablet.key, Tablet.id).where(Tablet.key.in_(keys)))
            self._tablets.update((key, number) for key, number in found)

    def put(self, told: Examined, facts: Facts, chunks: Iterable[Chunk]) -> Fate:
        """Put a run in, or see that it is there; LARGE runs give their ``chunks`` as they are read."""
        opened = facts.opened
        key = (facts.key, opened.run)
        if str(told.path) in self._foreign:  # its key is known by now
            of_path = (Quarantine.path == str(told.path), Quarantine.reason == FOREIGN)
            self._connection.execute(sa.delete(Quarantine).where(*of_path))
        if key in self._fresh:
            self.close()
            self.look_up([facts])
        was = self._known.get(key)
        if was is None:
            self._insert(self._new_id(), told, facts, chunks)
            return Fate.NEW
        return self._meet(was, told, facts, chunks)

    def quarantine(self, told: Examined, why: Reason) -> None:
        """Note a file that is not counted; the same file with the same content only once."""
        row = (
            str(told.path), why.digest, why.reason, why.line, why.what, why.run, self._now, told.size, told.mtime_ns,
        )  # fmt: skip
        self._quarantine(row)

    def close(self) -> None:
        """Write what is held back."""
        for table, rows in self._held.items():
            if rows:
                load(self._connection, table, rows)
                rows.clear()
        if self._stale:
            mark_stale(self._connection, self._stale)
        self._fresh.clear()
        self._stale.clear()

    def _meet(self, was: _Stored, told: Examined, facts: Facts, chunks: Iterable[Chunk]) -> Fate:
        """A run that the store has: the same, longer, shorter, or another story."""
        links = bytes(facts.links)
        both = min(len(links), len(was.links))
        if links[:both] != was.links[:both] or (was.state == "disputed" and len(links) > len(was.links)):
            self._dispute(was, told, facts, _common(links, was.links))
            return Fate.QUARANTINED
        if len(links) <= len(was.links):
            return Fate.KNOWN
        self._remove(was)
        self._insert(was.id, told, facts, chunks)
        return Fate.LONGER

    def _insert(self, run_id: int, told: Examined, facts: Facts, chunks: Iterable[Chunk]) -> None:
        tablet = self._tablet(facts.key)
        for chunk in chunks:
            for table, rows in zip(PARTS, (chunk.visit, chunk.refusal, chunk.hearing, chunk.reading), strict=True):
                held = self._held[table]
                held.extend((run_id, *row) for row in rows)
                if len(held) >= _AT_ONCE:
                    load(self._connection, table, held)
                    held.clear()
        # Only now: the facts of a large run are whole when all its chunks were read.
        self._held[Run].append((
            run_id, tablet, *facts.row(), str(told.path), told.size, told.mtime_ns, bytes(facts.links),
        ))  # fmt: skip
        self._fresh.add((facts.key, facts.opened.run))
        self._stale.add((facts.opened.procedure, facts.month))

    def _remove(self, was: _Stored) -> None:
        self._known = {key: stored for key, stored in self._known.items() if stored.id != was.id}
        for table in PARTS:
            self._connection.execute(sa.delete(table).where(table.__table__.c.run_id == was.id))
        self._connection.execute(sa.delete(Run).where(Run.id == was.id))
        self._stale.add((was.procedure, was.month))

    def _dispute(self, was: _Stored, told: Examined, facts: Facts, common: int) -> None:
        """Two sound copies part after ``common`` records: neither counts from here on."""
        run = facts.opened.run
        what = (
            f"Two copies of the run {run}, both sound and signed by the same tablet, tell different stories from "
            f"record {common} on: {was.source} and {told.path}. Neither is counted; find out which tablet was put "
            "back to an older state."
        )
        self.quarantine(told, Reason("conflict", common + 1, what, run))
        if was.state != "disputed":
            row = (was.source, "", "conflict", common + 1, what, run, self._now, was.size, was.mtime_ns)
            self._quarantine(row)
        self._connection.execute(
            sa.update(Run).where(Run.id == was.id).values(state="disputed", links=was.links[: common * LINK])
        )
        self._stale.add((was.procedure, was.month))
        self._known[facts.key, run] = self._stored([run])[facts.key, run]

    def _quarantine(self, row: Row) -> None:
        where = (Quarantine.path == row[0], Quarantine.digest == row[1])
        if self._connection.scalar(sa.select(Quarantine.line).where(*where)) is None:
            load(self._connection, Quarantine, [row])

    def _stored(self, runs: Sequence[str]) -> dict[tuple[str, str], _Stored]:
        columns = (
            Tablet.key, Run.run, Run.id, Run.state, Run.records, Run.links, Run.source, Run.source_size,
            Run.source_mtime_ns, Run.procedure, Run.month,
        )  # fmt: skip
        asked = sa.select(*columns).join(Tablet, Tablet.id == Run.tablet_id).where(Run.run.in_(runs))
        return {(row[0], row[1]): _Stored(*row[2:]) for row in self._connection.execute(asked)}

    def _new_id(self) -> int:
        self._next += 1
        return self._next - 1

    def _tablet(self, key: str) -> int:
        if key not in self._tablets:
            number = (self._connection.scalar(sa.select(sa.func.max(Tablet.id))) or 0) + 1
            name = self._names.get(key) or f"tablet {fingerprint(key)[:9]}"
            self._connection.execute(sa.insert(Tablet).values(id=number, key=key, name=name))
            self._tablets[key] = number
        return self._tablets[key]


def _common(one: bytes, other: bytes) -> int:
    """Return how many records two copies share from the beginning."""
    count = 0
    while one[count : count + LINK] == other[count : count + LINK] != b"":
        count += LINK
    return count // LINK


def load(connection: Connection, table: type[Base], rows: Sequence[Row]) -> None:
    """Put many rows in as fast as the database takes them, within the transaction."""
    columns = _COLUMNS[table]
    name, listed = table.__tablename__, ", ".join(columns)
    if connection.dialect.name == "sqlite":
        places = ", ".join("?" * len(columns))
        connection.exec_driver_sql(f"INSERT INTO {name} ({listed}) VALUES ({places})", list(rows))  # noqa: S608
        return
    driver = connection.connection.driver_connection
    assert driver is not None  # noqa: S101 - a connection in a transaction has one
    with driver.cursor() as cursor, cursor.copy(f"COPY {name} ({listed}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row(row)


def alone(connection: Connection) -> None:
    """Wait until no other program writes runs or tallies, and keep it so until the transaction ends."""
    if connection.dialect.name == "postgresql":  # SQLite has one writer anyway
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITING})")


def mark_stale(connection: Connection, months: Iterable[tuple[str, str]]) -> None:
    """Note that the tallies of these (procedure, month) are behind their rows."""
    for procedure, month in sorted(months):
        where = (Stale.procedure == procedure, Stale.month == month)
        if connection.scalar(sa.select(Stale.month).where(*where)) is None:
            connection.execute(sa.insert(Stale).values(procedure=procedure, month=month))
