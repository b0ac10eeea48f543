"""The fast walk along a chain: bytes, not values, so that checking costs little more than hashing.

Every line is cut where canonical order puts its fields, hashed, and held against the line before. A
line that passes is byte for byte what its hash says, and its place is right. What the walk cannot
follow it does not explain; `assistant.journal.diagnosis` does.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from assistant.journal.chain import MAX_LINE, VERSION, RecordError, genesis
from assistant.journal.reader import Entry, parse, raw_lines
from assistant.journal.records import TYPES, Opened

_TYPE = b',"type":"'
_KINDS = {name.encode() for name in TYPES}
TELLS_OF_FILES = {"opened", "heard", "resumed", "forgotten"}
_WATCHED = {name.encode() for name in TELLS_OF_FILES}


@dataclass(slots=True)
class Walk:
    """What a walk saw. ``fault`` is (line, reason) where it had to stop, None at a sound end.

    ``heads`` are the points a code was given out for, as (record, hash); ``last_signed`` is (record,
    hash the signature is over, signature); ``ended`` is set after "closed", ``sealed`` when its seal
    follows.
    """

    fault: tuple[int, str] | None = None
    opened: Opened | None = None
    records: int = 0
    head: str = ""
    heads: list[tuple[int, str]] = field(default_factory=list)
    last_signed: tuple[int, str, str] | None = None
    ended: int = -1
    sealed: bool = False
    clock_moves: int = 0


class _BrokenError(Exception):
    """The walk cannot go on; the message says why."""


def walk(path: Path, seen: Callable[[Entry], None]) -> Walk:
    """Walk a log from its first line; ``seen`` gets the entries that speak of other files."""
    result = Walk()
    step = _Step(result, seen)
    for raw in raw_lines(path):
        try:
            if not raw.whole:
                raise _BrokenError("the line breaks off")
            if result.records == 0:
                step.first(parse(raw))
            kind = step.follow(raw.data)
            if kind in _WATCHED:
                seen(parse(raw))
        except (_BrokenError, RecordError, ValueError) as error:
            result.fault = (raw.number, str(error))
            return result
    return result


class _Step:
    """The state from one line to the next."""

    def __init__(self, result: Walk, seen: Callable[[Entry], None]) -> None:
        self.result = result
        self.seen = seen
        self.mono = 0
        self.prev = ""

    def first(self, entry: Entry) -> None:
        """Take the run from the record every log begins with."""
        record = entry.record
        if not isinstance(record, Opened):
            raise _BrokenError("a log begins with a record “opened”")
        self.result.opened = record
        self.prev = genesis(record.run)

    def follow(self, line: bytes) -> bytes:
        """Check one line against the one before and return its type."""
        result = self.result
        seq = result.records
        link = b',"prev":"%b","seq":%d' % (self.prev.encode(), seq)
        at = line.rfind(link)
        cut = line.rfind(b',"hash":"', 0, at)
        if at < 0 or cut < 0 or len(line) > MAX_LINE:
            raise _BrokenError("the record does not follow the one before it")
        digest = hashlib.sha256(line[:cut] + line[cut + 74 :]).hexdigest()
        after = at + len(link)
        signed = line.startswith(b',"sig":"', after)
        kind = _shape(line, cut, after + 137 if signed else after)
        if line[cut + 9 : cut + 75] != digest.encode() + b'",':
            raise _BrokenError("the record does not match its own hash")
        mono = int(line[cut + 82 : at])
        if mono < self.mono:
            raise _BrokenError("the record lies before the one it follows in time")
        if signed:
            unsigned = line[:cut] + line[cut + 74 : after] + line[after + 137 :]
            signature = line[after + 8 : after + 136].decode("ascii", "replace")
            result.last_signed = (seq, hashlib.sha256(unsigned).hexdigest(), signature)
        self._note(kind, seq)
        self.prev = result.head = digest
        self.mono = mono
        result.records = seq + 1
        return kind

    def _note(self, kind: bytes, seq: int) -> None:
        """Keep account of how the run stands."""
        result = self.result
        if result.ended >= 0 and kind not in {b"sealed", b"forgotten"}:
            raise _BrokenError("a record stands after the end of the run")
        if kind == b"sealed":
            result.heads.append((seq - 1, self.prev))
            result.sealed = result.ended >= 0
        elif kind == b"closed":
            result.ended = seq
        elif kind == b"clock":
            result.clock_moves += 1
        elif kind == b"opened" and seq:
            raise _BrokenError("a second run begins inside this one")


def _shape(line: bytes, cut: int, tail: int) -> bytes:
    """Check the fields around the data of a line and return its type.

    The line is ``{"data":{…},"hash":…,"mono":…, …,"type":"…","v":1,"wall":"…"}``; ``cut`` is where the
    hash begins and ``tail`` where the type does.
    """
    end = line.find(b'"', tail + 9)
    kind = line[tail + 9 : end]
    if (
        kind not in _KINDS
        or not line.startswith(_TYPE, tail)
        or not line.startswith(b'{"data":{')
        or line[cut - 1] != 0x7D
        or line[cut + 75 : cut + 82] != b'"mono":'
        or line[end:-26] != b'","v":%d,"wall":"' % VERSION
        or line[-2:] != b'"}'
    ):
        raise _BrokenError("the record has not the form of one")
    return kind
