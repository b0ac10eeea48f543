"""The fast walk along a chain: bytes, not values, so that checking costs little more than hashing.

Every line is cut where canonical order puts its fields, hashed, and held against the line before. A
line that passes is byte for byte what its hash says, and its place is right. What the walk cannot
follow it does not explain; `assistant.journal.diagnosis` does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Protocol

from assistant.journal.chain import MAX_LINE, VERSION, RecordError, genesis, without_hash, without_signature
from assistant.journal.reader import Entry, RawLine, blocks, parse
from assistant.journal.records import TYPES, Opened

_TAIL = re.compile(
    rb'\},"hash":".{64}","mono":(\d{1,16}),"prev":"(.{64})","seq":(\d{1,16})'
    rb'(?:,"sig":"([0-9a-f]{128})")?,"type":"([a-z]+)","v":%d,"wall":"[^"]{24}"\}' % VERSION,
    re.DOTALL,  # the two hashes are held against others whole, and "anything" is stepped over at once
).fullmatch
_KINDS = {name.encode() for name in TYPES}
TELLS_OF_FILES = {"opened", "heard", "resumed", "forgotten"}
_NOTHING_HASHED = sha256()
_PLAIN = {b"decided", b"spoke", b"device", b"note"}  # nothing but their place in the chain matters here
_TELLING = {b"opened", b"resumed", b"forgotten"}
_AFTER_END = {b"closed", b"sealed", b"forgotten"}


@dataclass(slots=True)
class Walk:
    """What a walk saw. ``fault`` is (line, reason) where it had to stop, None at a sound end.

    ``heads`` are the points a code was given out for, as (record, hash); ``last_signed`` is (record,
    hash the signature is over, signature); ``ended`` is set after "closed", ``sealed`` when its seal
    follows. ``torn`` is the number of a last line that breaks off, 0 when none does: that is what a power
    cut leaves, and everything before it stands.
    """

    fault: tuple[int, str] | None = None
    opened: Opened | None = None
    records: int = 0
    heads: list[tuple[int, str]] = field(default_factory=list)
    last_signed: tuple[int, str, str] | None = None
    ended: int = -1
    sealed: bool = False
    clock_moves: int = 0
    torn: int = 0


class _BrokenError(Exception):
    """The walk cannot go on; the message says why."""


class Beholder(Protocol):
    """Who wants to know of the records that speak of other files."""

    def see(self, entry: Entry) -> None:
        """Take "opened", "resumed" and "forgotten"."""

    def hear(self, seq: int, line: int, said: str, audio: str) -> None:
        """Take what "heard" commits to: the hashes of words and recording, "" for none."""


class Taker(Protocol):
    """Who takes records apart as they pass the walk, and so reads nothing twice. May raise nothing."""

    def begin(self, first: Entry) -> None:
        """Take the run's first record; `take` gets it too."""

    def take(self, seq: int, kind: bytes, mono: int, digest: bytes, line: bytes, end: int) -> None:
        """Take a record that fits its place: its ``data`` are the JSON in ``line[DATA:end]``, ``digest`` is in hex."""


DATA = len(b'{"data":')
"""Where a record's data begin in its line."""


def walk(path: Path, seen: Beholder, taker: Taker | None = None) -> Walk:
    """Walk a log from its first line to its end, or to where it cannot be followed."""
    result = Walk()
    for _ in walking(path, seen, taker, result):
        pass
    return result


def walking(path: Path, seen: Beholder, taker: Taker | None, result: Walk) -> Iterator[None]:
    """Walk as `walk`, halting after every block of lines; ``result`` is whole at the end."""
    step = _Step(result, seen, taker)
    try:
        for block in blocks(path):
            if not block.whole and step.number:
                result.torn = step.number + 1
                break
            if step.number == 0:
                step.first(parse(RawLine(1, 0, block.lines[0])))
            step.follow(block.lines)
            if not block.whole:
                raise _BrokenError("the line breaks off")
            yield
    except (_BrokenError, RecordError, ValueError) as error:
        result.fault = (step.number + 1, str(error))
    result.records = step.number
    result.last_signed = step.last_signature()


class _Step:
    """The state from one line to the next."""

    def __init__(self, result: Walk, seen: Beholder, taker: Taker | None) -> None:
        self.result = result
        self.seen = seen
        self.taker = taker
        self.beginning: Entry | None = None
        self.number = 0
        self.mono = 0
        self.ended = False
        self.prev = b""
        self.signed: tuple[int, bytes, re.Match[bytes]] | None = None

    def first(self, entry: Entry) -> None:
        """Take the run from the record every log begins with."""
        record = entry.record
        if not isinstance(record, Opened):
            raise _BrokenError("a log begins with a record “opened”")
        self.result.opened, self.beginning = record, entry
        self.prev = genesis(record.run).encode()
        if self.taker is not None:
            self.taker.begin(entry)

    def follow(self, lines: list[bytes]) -> None:  # noqa: C901 - as below
        """Check each line against the one before and tell what it says of other files."""
        # Plain names instead of the object's own: this loop is what a check of a long log costs.
        prev, number, before, ended = self.prev, self.number, self.mono, self.ended
        new_hash = _NOTHING_HASHED.copy  # quicker than looking the function up by its name each time
        take = self.taker.take if self.taker is not None else None
        try:
            for line in lines:
                cut = line.rfind(b',"hash":"')
                tail = _TAIL(line, cut - 1) if cut > 0 else None
                if tail is None or not line.startswith(b'{"data":{') or len(line) > MAX_LINE:
                    raise _BrokenError("the record has not the form of one")
                mono, told, seq, signature, kind = tail.groups()
                hashed = new_hash()
                hashed.update(line[:cut] + line[cut + 74 :])
                digest = hashed.hexdigest().encode()
                if not line.startswith(digest, cut + 9):
                    raise _BrokenError("the record does not match its own hash")
                now = int(mono)
                if told != prev or int(seq) != number or now < before:
                    raise _BrokenError("the record does not follow the one before it")
                if kind == b"heard":
                    said, audio = _commitments(line)
                    if said or audio:
                        self.seen.hear(number, number + 1, said, audio)
                elif kind not in _PLAIN:
                    ended = self._note(kind, line, number, prev)
                if ended and kind not in _AFTER_END:
                    raise _BrokenError("a record stands after the end of the run")
                if signature is not None:
                    self.signed = (number, line, tail)
                if take is not None:
                    take(number, kind, now, digest, line, cut)
                prev, before = digest, now
                number += 1
        finally:
            self.prev, self.number, self.mono, self.ended = prev, number, before, ended

    def _note(self, kind: bytes, line: bytes, seq: int, prev: bytes) -> bool:
        """Keep account of how the run stands; return whether it has ended."""
        result = self.result
        if kind not in _KINDS:
            raise _BrokenError("the record is of no known type")
        if kind == b"sealed":
            result.heads.append((seq - 1, prev.decode()))
            result.sealed = result.ended >= 0
        elif kind == b"closed":
            if result.ended >= 0:
                raise _BrokenError("the run ends twice")
            result.ended = seq
        elif kind == b"clock":
            result.clock_moves += 1
        elif kind == b"opened" and seq:
            raise _BrokenError("a second run begins inside this one")
        if kind in _TELLING:
            self.seen.see(self.beginning if not seq and self.beginning else parse(RawLine(seq + 1, 0, line)))
        return result.ended >= 0

    def last_signature(self) -> tuple[int, str, str] | None:
        """Return the last signed record, the hash its signature is over, and the signature."""
        if self.signed is None:
            return None
        seq, line, tail = self.signed
        unsigned = without_signature(without_hash(line))
        return seq, sha256(unsigned).hexdigest(), tail[4].decode()


def _commitments(line: bytes) -> tuple[str, str]:
    """Return the hashes of words and recording in a "heard" line, by where canonical order puts them."""
    said = line.rindex(b'"said":"') + 8
    words = "" if line[said] == 0x22 else line[said : said + 64].decode("ascii", "replace")
    if not line.startswith(b'{"data":{"audio":"'):
        raise _BrokenError("the record has not the form of one")
    return words, "" if line[18] == 0x22 else line[18:82].decode("ascii", "replace")
