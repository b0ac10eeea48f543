"""A log read as rows of the store, in the same pass that verifies it, line by line.

The verifier shows that every line is what its hash says and in its place; here lines are only taken
apart, and those that hold nothing for the store not even that.
"""

from __future__ import annotations

import hashlib
import marshal
import sys
from functools import lru_cache
from typing import NamedTuple

import orjson

from assistant.fleet.scale import on_scale
from assistant.fleet.told import NotSoError, decided, heard
from assistant.fleet.visits import Steps
from assistant.journal.clock import stamp, unstamp
from assistant.journal.reader import Entry
from assistant.journal.records import Json, Opened
from assistant.journal.walk import DATA, Records

LINK = 4
"""Bytes kept of each record's hash: enough to see whether another copy tells the same."""

EARLIEST_MS = unstamp("2026-01-01T00:00:00.000Z")
"""Before the program's first version: a tablet that says so has lost its clock."""

DAY_MS = 86_400_000
_MARKS = 62
_WALL = slice(-len('2031-05-04T06:07:08.009Z"}'), -len('"}'))
"""Where the back of a record has its wall time."""

_TOLD = frozenset({b"decided", b"heard", b"clock", b"closed", b"forgotten", b"resumed", b"opened"})

_HAPPENS = frozenset({b"opened", b"decided", b"heard", b"closed"})
"""A run lasts until the last of these; a seal or a forgetting may come weeks later."""

ODD = (NotSoError, KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError, AssertionError)
"""What a sound log of another program's version can raise when it is taken apart."""

Row = tuple[object, ...]

Columns = tuple[tuple[tuple[object, ...], ...], ...]
"""Rows of several tables, each as columns; a table without rows has none."""


class Rows(NamedTuple):
    """Some rows of one run, by table, without ``run_id``."""

    visit: list[Row]
    refusal: list[Row]
    hearing: list[Row]
    reading: list[Row]

    def columns(self) -> Columns:
        """Return the rows as columns, which databases and counting take without looking at each row again."""
        return tuple(tuple(zip(*rows, strict=True)) for rows in self)


def packed(columns: Columns) -> bytes:
    """Return columns as bytes for another process: a tenth of what pickling each value costs."""
    return marshal.dumps(columns)  # type: ignore[arg-type]


def unpacked(told: bytes) -> Columns:
    """Return the columns in bytes that another process of this program has `packed`."""
    columns: Columns = marshal.loads(told)  # noqa: S302 - from our own worker, not from a file
    return columns


class Facts(NamedTuple):
    """What the store says of a run: whose it is, its tallies' month, and the columns ``run`` to ``forgotten``.

    ``links`` has the first `LINK` bytes of each record's hash, of ``records`` in all; ``counts`` are
    the columns after it, ``refusals`` and ``not_understood``.
    """

    key: str
    run: str
    procedure: str
    month: str
    row: Row
    links: bytes
    counts: tuple[int, int]
    records: int


class RunReader:
    """Takes a log's records as the verifier passes them: rows gather, and at the end there are `Facts`.

    ``failed`` is the line that could not be taken apart, and why: in a sound log, one of another program's
    version. Records from ``upto`` on are left alone. With ``facts_only`` rows are made and not kept.
    """

    def __init__(self, now_ms: int, *, upto: int = sys.maxsize, facts_only: bool = False) -> None:
        self.failed: tuple[int, Exception] | None = None
        self._now, self._upto, self._facts_only = now_ms, upto, facts_only
        self._opened: Opened
        self._steps = Steps("", 0)
        self._started = self._ended = self._last = self._last_seq = self._away = 0
        self._moves = self._moved_ms = self._records = self._refusals = self._missed = 0
        self._last_wall, self._outcome, self._heard_audio = b"", "", False
        self._forgotten: set[str] = set()
        self._bands: set[int | None] = set()
        self._hearings: list[Row] = []
        self._links = bytearray()  # in hex

    @property
    def key(self) -> str:
        """The public key of the tablet that signed the run, 64 hex digits."""
        return self._opened.key

    def begin(self, first: Entry) -> None:
        """Take the record "opened"."""
        assert isinstance(first.record, Opened)  # noqa: S101 - the verifier has seen to it
        self._opened = first.record
        try:
            self._started = unstamp(first.wall)
        except ValueError as error:
            self.failed = 1, error
        self._steps = Steps(self._opened.rig, self._started // DAY_MS)

    def take(self, records: Records) -> None:
        """Take records in a row; see `walk.Taker`."""
        self._links += b"".join([digest[: 2 * LINK] for digest in records.digests])
        self._records += len(records.digests)
        if self.failed is None:
            self._take_apart(records.upto(self._upto))
        if self._facts_only:
            self.drain()

    def _take_apart(self, records: Records) -> None:
        """Make rows of what the records tell; plain names, for this loop is most of what a run costs here."""
        first, monos, fronts, happened, at = records.first, records.monos, records.fronts, -1, -1
        steps, hearings, bands = self._steps, self._hearings, self._bands
        decide = steps.take
        try:
            for at, kind in enumerate(records.kinds):
                if kind == b"decided":
                    one = decided(fronts[at][DATA:])
                    decide(first + at, monos[at], one.event, one.decision)
                elif kind == b"heard":
                    told = heard(fronts[at][DATA:])
                    noise, band = _noise(told.noise_db)
                    unheard = told.unheard or ""
                    now = steps.now
                    hearings.append((
                        first + at, monos[at], now.step if now else "", told.engine, told.who,
                        told.phrase or "", unheard, _tenths(told.speech_db), noise, band, band not in bands,
                    ))  # fmt: skip
                    bands.add(band)
                    if unheard:
                        self._missed += 1
                    if told.audio:
                        self._heard_audio = True
                elif kind not in _TOLD:
                    continue
                else:
                    self._note(kind, orjson.loads(fronts[at][DATA:]))
                    if kind not in _HAPPENS:
                        continue
                happened = at
        except ODD as error:
            self.failed = first + at + 1, error
        if happened >= 0:
            self._last, self._last_seq = monos[happened], first + happened
            self._last_wall = records.backs[happened][_WALL]

    def finish(self) -> None:
        """Close what the log's end leaves open."""
        self._steps.finish()
        try:
            self._ended = unstamp(self._last_wall.decode())
        except ValueError as error:
            self.failed = self.failed or (self._last_seq + 1, error)

    def drain(self) -> Rows:
        """Hand over the rows that have gathered."""
        steps = self._steps
        rows = Rows(steps.visits, steps.refusals, self._hearings, steps.readings)
        self._refusals += len(rows.refusal)
        steps.visits, steps.refusals, self._hearings, steps.readings = [], [], [], []
        return rows

    def facts(self, *, sealed: bool) -> Facts:
        """Return what the whole log, ``sealed`` or not, says of the run."""
        opened = self._opened
        crew = next((note.removeprefix("crew: ") for note in opened.notes if note.startswith("crew: ")), "alone")
        ended, duration = self._ended, max(0, self._last - self._away)
        month = stamp(self._started)[:7]
        call_sign = "" if "words" in self._forgotten else opened.call_sign
        row = (
            opened.run, "whole" if sealed else "unfinished", opened.program, opened.procedure, opened.rig,
            opened.site, crew, opened.lang, opened.ears, "practice" in opened.notes, call_sign,
            person_mark(call_sign or opened.key), month, self._started, ended, duration, on_scale(duration),
            self._outcome, self._steps.failures, self._records, self._clock(ended), self._moved_ms,
            self._heard_audio and opened.consent_audio and "audio" not in self._forgotten,
            " ".join(sorted(self._forgotten)),
        )  # fmt: skip
        links = bytes.fromhex(self._links.decode())
        return Facts(
            opened.key, opened.run, opened.procedure, month, row, links, (self._refusals, self._missed), self._records
        )

    def _clock(self, ended: int) -> str:
        flags = {
            "moved": self._moves > 0,
            "future": max(self._started, ended) > self._now + DAY_MS,
            "past": min(self._started, ended) < EARLIEST_MS,
        }
        return " ".join(name for name, set_ in flags.items() if set_)

    def _note(self, kind: bytes, data: Json) -> None:
        if kind == b"clock":
            self._moves += 1
            self._moved_ms += data["moved_ms"]  # type: ignore[operator]
        elif kind == b"resumed":
            self._away += data.get("away_ms") or 0  # type: ignore[operator]
        elif kind == b"closed":
            self._outcome = str(data["outcome"])
        elif kind == b"forgotten" and isinstance(what := data["what"], list):
            self._forgotten.update(map(str, what))


@lru_cache(maxsize=4096)
def person_mark(name: str) -> int:
    """Return one bit of 62 for a call sign or a tablet's key: people can be counted by it, not named."""
    return 1 << int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big") % _MARKS


@lru_cache(maxsize=4096)
def _tenths(db: str | None) -> int | None:
    """Return a level in tenths of a decibel; None when the log has none or none that is a level.

    A few hundred levels come again and again.
    """
    if db is None:
        return None
    whole, _, part = db.partition(".")
    try:
        tenths = abs(int(whole)) * 10 + int(part[:1] or 0)
    except ValueError:
        return None
    return -tenths if db.startswith("-") else tenths


@lru_cache(maxsize=4096)
def _noise(db: str | None) -> tuple[int | None, int | None]:
    """Return a noise floor in tenths of a decibel, and its band; see `schema.Hearing`."""
    tenths = _tenths(db)
    return tenths, None if tenths is None else tenths // 100 * 10
