"""Writing runs into the store: each once, the longest sound copy, and never two that contradict each other.

A run is known by its tablet's key and its own id. Of two copies the longer one counts when the shorter is
its beginning, record for record. When they part, nobody can say which is true: both go into quarantine and
the run counts nowhere, whichever came first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import islice
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from assistant.fleet.adding import Adding
from assistant.fleet.bulk import PARTS, columns_of, load
from assistant.fleet.examine import PASSING, Examined, Reason
from assistant.fleet.rows import LINK, Columns, Facts, Row
from assistant.fleet.schema import Base, Quarantine, Run, Stale, Tablet
from assistant.journal.keys import fingerprint

_AT_ONCE = 20_000
_COUNTED = 2048
"""Runs that are counted at once."""
_ASKED_AT_ONCE = 250
_WRITING = 4_862_002  # any number of our own: the key of the lock under which runs are numbered and counted
_WRITTEN: tuple[type[Base], ...] = (Run, *PARTS)


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


class _Held:
    """Rows that wait to be written, as columns."""

    def __init__(self, table: type[Base]) -> None:
        self.columns: list[list[object]] = [[] for _ in columns_of(table)]

    @property
    def rows(self) -> int:
        """How many there are."""
        return len(self.columns[0])

    def add(self, *columns: Iterable[object]) -> None:
        """Add rows: their columns in the table's order."""
        for held, more in zip(self.columns, columns, strict=True):
            held.extend(more)


_STORED = (
    Run.tablet_id, Run.run, Run.id, Run.state, Run.records, Run.links, Run.source, Run.source_size,
    Run.source_mtime_ns, Run.procedure, Run.month,
)  # fmt: skip
_WHOSE = sa.tuple_(Run.tablet_id, Run.run)


class Writing:
    """Puts runs into the store, and counts them, within one transaction; ``close`` does what is held back."""

    def __init__(self, connection: Connection, names: Mapping[str, str], now_ms: int) -> None:
        self._connection = connection
        self._names = names
        self._now = now_ms
        alone(connection)
        self._tablets: dict[str, int] = {}
        self._next = (connection.scalar(sa.select(sa.func.max(Run.id))) or 0) + 1
        self._held = {table: _Held(table) for table in _WRITTEN}
        self._adding = Adding()
        self._fresh: set[tuple[str, str]] = set()  # put in here: what `look_up` found before is not so any more
        self._known: dict[tuple[str, str], _Stored] = {}
        self._stale: set[tuple[str, str]] = set()
        passing = sa.select(Quarantine.path).where(Quarantine.reason.in_(PASSING))
        self._passing = set(connection.scalars(passing))

    def look_up(self, facts: Iterable[Facts]) -> None:
        """Find what the store has of runs that are about to be put in, all at once."""
        rest = iter(facts)
        while some := list(islice(rest, _ASKED_AT_ONCE)):
            self._know({one.key for one in some})
            keys = {self._tablets[one.key]: one.key for one in some if one.key in self._tablets}
            wanted = [(self._tablets[one.key], one.run) for one in some if one.key in self._tablets]
            found = self._connection.execute(sa.select(*_STORED).where(_WHOSE.in_(wanted))) if wanted else ()
            self._known.update(((keys[row[0]], row[1]), _Stored(*row[2:])) for row in found)

    def _know(self, keys: set[str]) -> None:
        """Find the numbers of tablets that the store has."""
        if unknown := sorted(keys - set(self._tablets)):
            found = self._connection.execute(sa.select(Tablet.key, Tablet.id).where(Tablet.key.in_(unknown)))
            self._tablets.update((key, number) for key, number in found)

    def put(self, told: Examined, facts: Facts, parts: Iterable[Columns]) -> Fate:
        """Put a run in, or see that it is there; a large one gives its rows in ``parts``, as they are read."""
        key = (facts.key, facts.run)
        self._has_passed(told.path)
        if key in self._fresh:
            self._write_held()
            self.look_up([facts])
        was = self._known.get(key)
        if was is None:
            self._insert(self._new_id(), told, facts, parts)
            self._count_some()
            return Fate.NEW
        return self._meet(was, told, facts, parts)

    def quarantine(self, told: Examined, why: Reason) -> None:
        """Note a file that is not counted; the same file with the same content only once."""
        if why.reason not in PASSING:
            self._has_passed(told.path)
        row = (
            str(told.path), why.digest, why.reason, why.line, why.what, why.run, self._now, told.size, told.mtime_ns,
        )  # fmt: skip
        self._quarantine(row)

    def close(self) -> None:
        """Write and count what is held back."""
        self._write_held()
        self._adding.finish(self._connection)
        if self._stale:
            mark_stale(self._connection, self._stale)
        self._stale.clear()

    def _has_passed(self, path: Path) -> None:
        """Take back what was noted of a file, or of a folder around it, that is as it should be by now."""
        for one in self._passing.intersection(map(str, (path, *path.parents))) if self._passing else ():
            of_path = (Quarantine.path == one, Quarantine.reason.in_(PASSING))
            self._connection.execute(sa.delete(Quarantine).where(*of_path))
            self._passing.discard(one)

    def _count_some(self) -> None:
        """Count now and then, for at the end nobody works beside."""
        if self._held[Run].rows >= _COUNTED:
            self._write_held()
            self._adding.count()

    def _write_held(self) -> None:
        for table in _WRITTEN:
            self._load(table)

    def _load(self, table: type[Base]) -> None:
        held = self._held[table]
        if held.rows:
            load(self._connection, table, zip(*held.columns, strict=True))
            self._adding.gather(table, held.columns)
            self._held[table] = _Held(table)

    def _meet(self, was: _Stored, told: Examined, facts: Facts, parts: Iterable[Columns]) -> Fate:
        """A run that the store has: the same, longer, shorter, or another story."""
        links = facts.links
        both = min(len(links), len(was.links))
        if links[:both] != was.links[:both] or (was.state == "disputed" and len(links) > len(was.links)):
            self._dispute(was, told, facts, _common(links, was.links))
            return Fate.QUARANTINED
        if len(links) <= len(was.links):
            return Fate.KNOWN
        self._remove(was)
        self._insert(was.id, told, facts, parts)
        return Fate.LONGER

    def _insert(self, run_id: int, told: Examined, facts: Facts, parts: Iterable[Columns]) -> None:
        tablet = self._tablet(facts.key)
        for columns in parts:
            for table, some in zip(PARTS, columns, strict=True):
                if some:
                    held = self._held[table]
                    held.add([run_id] * len(some[0]), *some)
                    if held.rows >= _AT_ONCE:
                        self._load(table)
        source = (str(told.path), told.size, told.mtime_ns)
        row = (run_id, tablet, *facts.row, *source, facts.links, *facts.counts)
        self._held[Run].add(*((value,) for value in row))
        self._fresh.add((facts.key, facts.run))

    def _remove(self, was: _Stored) -> None:
        self._known = {key: stored for key, stored in self._known.items() if stored.id != was.id}
        for table in PARTS:
            self._connection.execute(sa.delete(table).where(table.__table__.c.run_id == was.id))
        self._connection.execute(sa.delete(Run).where(Run.id == was.id))
        self._stale.add((was.procedure, was.month))

    def _dispute(self, was: _Stored, told: Examined, facts: Facts, common: int) -> None:
        """Two sound copies part after ``common`` records: neither counts from here on."""
        run = facts.run
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
        self.look_up([facts])

    def _quarantine(self, row: Row) -> None:
        where = (Quarantine.path == row[0], Quarantine.digest == row[1])
        if self._connection.scalar(sa.select(Quarantine.line).where(*where)) is None:
            load(self._connection, Quarantine, [row])

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
