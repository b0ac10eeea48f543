"""A verified log read as rows of the store: one pass, line by line, in flat memory.

The verifier has shown that every line is what its hash says and in its place; here lines are only taken
apart, and those that hold nothing for the store not even that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import orjson

from assistant.fleet.scale import on_scale
from assistant.fleet.visits import Steps
from assistant.journal.clock import stamp, unstamp
from assistant.journal.reader import RawLine, blocks, parse
from assistant.journal.records import Json, Opened

LINK = 4
"""Bytes kept of each record's hash: enough to see whether another copy tells the same."""

EARLIEST_MS = unstamp("2026-01-01T00:00:00.000Z")
"""Before the program's first version: a tablet that says so has lost its clock."""

DAY_MS = 86_400_000
_MARKS = 62
_TAIL = len('","v":1,"wall":"2031-05-04T06:07:08.009Z"}')
_TOLD = frozenset({b"decided", b"heard", b"clock", b"closed", b"forgotten", b"resumed", b"opened"})

_HAPPENS = frozenset({b"opened", b"decided", b"heard", b"closed"})
"""A run lasts until the last of these; a seal or a forgetting may come weeks later."""

Row = tuple[object, ...]


@dataclass
class Chunk:
    """Some rows of one run, by table, without ``run_id``."""

    visit: list[Row] = field(default_factory=list)
    refusal: list[Row] = field(default_factory=list)
    hearing: list[Row] = field(default_factory=list)
    reading: list[Row] = field(default_factory=list)


@dataclass
class Facts:
    """What the table `schema.Run` says of a run, but for its ids and where it was read from."""

    key: str
    opened: Opened
    sealed: bool
    now_ms: int
    started: int = 0
    last: int = 0
    last_wall: str = ""
    away: int = 0
    outcome: str = ""
    failures: int = 0
    records: int = 0
    moves: int = 0
    moved_ms: int = 0
    heard_audio: bool = False
    forgotten: set[str] = field(default_factory=set)
    links: bytearray = field(default_factory=bytearray)

    @property
    def month(self) -> str:
        """The month of the tablet's wall clock in which the run began."""
        return stamp(self.started)[:7]

    def row(self) -> Row:
        """Return the columns of `schema.Run` from ``run`` to ``forgotten``."""
        opened = self.opened
        crew = next((note.removeprefix("crew: ") for note in opened.notes if note.startswith("crew: ")), "alone")
        ended, duration = unstamp(self.last_wall), max(0, self.last - self.away)
        call_sign = "" if "words" in self.forgotten else opened.call_sign
        return (
            opened.run, "whole" if self.sealed else "unfinished", opened.program, opened.procedure, opened.rig,
            opened.site, crew, opened.lang, opened.ears, "practice" in opened.notes, call_sign,
            person_mark(call_sign or opened.key), self.month, self.started, ended, duration,
            on_scale(duration), self.outcome, self.failures, self.records, self._clock(ended), self.moved_ms,
            self.heard_audio and opened.consent_audio and "audio" not in self.forgotten,
            " ".join(sorted(self.forgotten)),
        )  # fmt: skip

    def _clock(self, ended: int) -> str:
        flags = {
            "moved": self.moves > 0,
            "future": max(self.started, ended) > self.now_ms + DAY_MS,
            "past": min(self.started, ended) < EARLIEST_MS,
        }
        return " ".join(name for name, set_ in flags.items() if set_)


class RunReader:
    """Reads the first ``records`` lines of a verified log; iterating gives chunks, then ``facts`` is whole."""

    def __init__(self, path: Path, records: int, *, sealed: bool, now_ms: int) -> None:
        self._path, self._records, self._sealed, self._now = path, records, sealed, now_ms
        self.facts: Facts
        self.line = 1  # the one that is being read
        self._bands: set[int | None] = set()

    def __iter__(self) -> Iterator[Chunk]:
        """Yield the rows in the order of the log, a block of lines at a time."""
        steps: Steps | None = None
        seq = 0
        for block in blocks(self._path):
            lines = block.lines[: self._records - seq]
            if not lines:
                break
            if steps is None:
                steps = self._begin(lines[0])
            chunk = Chunk()
            for line in lines:
                self.line = seq + 1
                self._take(seq, line, steps, chunk)
                seq += 1
            if seq >= self._records:
                steps.finish()
            chunk.visit, chunk.refusal, chunk.reading = steps.visits, steps.refusals, steps.readings
            steps.visits, steps.refusals, steps.readings = [], [], []
            yield chunk
        if steps is not None:
            self.facts.records, self.facts.failures = seq, steps.failures

    def _begin(self, line: bytes) -> Steps:
        entry = parse(RawLine(1, 0, line))
        opened = entry.record
        assert isinstance(opened, Opened)  # noqa: S101 - the verifier has seen to it
        started = unstamp(entry.wall)
        self.facts = Facts(opened.key, opened, self._sealed, self._now, started=started)
        return Steps(opened.rig, started // DAY_MS)

    def _take(self, seq: int, line: bytes, steps: Steps, chunk: Chunk) -> None:
        cut = line.rindex(b',"hash":"') + 9
        self.facts.links += bytes.fromhex(line[cut : cut + 2 * LINK].decode())
        kind = line[line.rindex(b'"', 0, -_TAIL) + 1 : -_TAIL]
        if kind not in _TOLD:
            return
        told = orjson.loads(line)
        data, at = told["data"], told["mono"]
        if kind == b"decided":
            steps.take(seq, at, data["event"], data["decision"])
        elif kind == b"heard":
            chunk.hearing.append(self._hearing(seq, at, data, steps.step))
        else:
            self._note(told["type"], data)
        if kind in _HAPPENS:
            self.facts.last, self.facts.last_wall = at, told["wall"]

    def _note(self, kind: str, data: dict[str, Any]) -> None:
        facts = self.facts
        if kind == "clock":
            facts.moves += 1
            facts.moved_ms += data["moved_ms"]
        elif kind == "resumed":
            facts.away += data.get("away_ms") or 0
        elif kind == "closed":
            facts.outcome = str(data["outcome"])
        elif kind == "forgotten" and isinstance(what := data["what"], list):
            facts.forgotten.update(map(str, what))

    def _hearing(self, seq: int, at: int, data: Json, step: str) -> Row:
        self.facts.heard_audio = self.facts.heard_audio or bool(data.get("audio"))
        noise = _tenths(data.get("noise_db"))
        band = None if noise is None else noise // 100 * 10
        first = band not in self._bands
        self._bands.add(band)
        return (
            seq, at, step, data["engine"], data["who"], data.get("phrase") or "", data.get("unheard") or "",
            _tenths(data.get("speech_db")), noise, band, first,
        )  # fmt: skip


def person_mark(name: str) -> int:
    """Return one bit of 62 for a call sign or a tablet's key: people can be counted by it, not named."""
    return 1 << int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big") % _MARKS


@lru_cache(maxsize=4096)
def _tenths(db: object) -> int | None:
    """Return a level in tenths of a decibel; None when the log has none or none that is a level.

    A few hundred levels come again and again.
    """
    if not isinstance(db, str):
        return None
    whole, _, part = db.partition(".")
    try:
        tenths = abs(int(whole)) * 10 + int(part[:1] or 0)
    except ValueError:
        return None
    return -tenths if db.startswith("-") else tenths
