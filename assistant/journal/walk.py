"""The fast walk along a chain: bytes, not values, so that checking costs little more than hashing.

A block of lines is cut at once where canonical order puts their fields; every line is hashed, and what the
lines say of themselves is held against hashes, numbers and times as columns. A block that does not pass is
halved until the faulty line stands alone. A line that passes is byte for byte what its hash says, and its
place is right. What the walk cannot follow it does not explain; `assistant.journal.diagnosis` does.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from operator import add
from pathlib import Path
from typing import NamedTuple, Protocol

from assistant.journal.chain import MAX_LINE, VERSION, RecordError, genesis, without_signature
from assistant.journal.reader import Entry, RawLine, blocks, parse
from assistant.journal.records import TYPES, Opened

_CUT = re.compile(
    rb',"hash":"(?<=\},"hash":")(.{64})"(,"mono":(\d{1,16}),"prev":"(.{64})","seq":(\d{1,16})'
    rb'(?:,"sig":"([0-9a-f]{128})")?,"type":"([a-z]+)","v":%d,"wall":"[^"]{24}"\})\n(?:(?=\{"data":\{)|\Z)' % VERSION,
    re.DOTALL,  # the two hashes are held against others whole, and "anything" is stepped over at once
).split
"""Cuts lines into what stands before the hash, and seven columns behind it."""
_COLUMNS = 8
_BEGINNING = b'{"data":{'
_HASH_FIELD = len(b',"hash":""') + 64
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


class Records(NamedTuple):
    """Some records in a row that fit their places, as columns; ``first`` is the number of the first.

    ``monos`` are in ms and ``digests`` in hex. A line is its front (``{"data":`` and the data), the field of its
    hash, and its back (from ``,"mono":`` to its end).
    """

    first: int
    kinds: list[bytes]
    monos: list[int]
    digests: list[bytes]
    fronts: list[bytes]
    backs: list[bytes]

    def upto(self, number: int) -> Records:
        """Return those of them that stand before record ``number``."""
        some = max(0, number - self.first)
        if some >= len(self.kinds):
            return self
        first, kinds, monos, digests, fronts, backs = self
        return Records(first, kinds[:some], monos[:some], digests[:some], fronts[:some], backs[:some])

    def line(self, at: int) -> bytes:
        """Return a whole line, byte for byte, without its newline."""
        return b'%b,"hash":"%b"%b' % (self.fronts[at], self.digests[at], self.backs[at])


class Taker(Protocol):
    """Who takes records apart as they pass the walk, and so reads nothing twice. May raise nothing."""

    def begin(self, first: Entry) -> None:
        """Take the run's first record; `take` gets it too."""

    def take(self, records: Records) -> None:
        """Take records that fit their places: the ``data`` of each are the JSON in ``front[DATA:]``."""


DATA = len(b'{"data":')
"""Where a record's data begin in its front."""


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
                step.first(parse(RawLine(1, 0, block.text[: block.text.index(b"\n")])))
            step.follow(block.text)
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
        self.prev = b""
        self.signed: tuple[int, bytes, bytes] | None = None

    def first(self, entry: Entry) -> None:
        """Take the run from the record every log begins with."""
        record = entry.record
        if not isinstance(record, Opened):
            raise _BrokenError("a log begins with a record “opened”")
        self.result.opened, self.beginning = record, entry
        self.prev = genesis(record.run).encode()
        if self.taker is not None:
            self.taker.begin(entry)

    def follow(self, text: bytes) -> None:
        """Check lines, each with its newline, against the ones before, and tell what they say of other files."""
        checked = self._checked(text)
        if isinstance(checked, Records):
            self._accept(checked)
            return
        if text.count(b"\n") == 1:
            raise _BrokenError(checked)
        half = text.rfind(b"\n", 0, len(text) // 2) + 1 or text.index(b"\n") + 1
        self.follow(text[:half])
        self.follow(text[half:])

    def _checked(self, text: bytes) -> Records | str:
        """Return the records in lines that stand where they should, or what is wrong with at least one."""
        cut = _CUT(text)
        told, count = cut[1::_COLUMNS], len(cut) // _COLUMNS
        # Every cut takes one newline at least: where all are taken, each took one, and none stands in a front.
        if cut[-1] or text.count(b"\n") != count or not text.startswith(_BEGINNING):
            return "the record has not the form of one"
        fronts, backs = cut[:-1:_COLUMNS], cut[2::_COLUMNS]
        covered = list(map(add, fronts, backs))
        if max(map(len, covered)) + _HASH_FIELD > MAX_LINE:
            return "the record has not the form of one"
        digests, new_hash = [], _NOTHING_HASHED.copy  # quicker than looking the function up by its name each time
        for one in covered:
            hashed = new_hash()
            hashed.update(one)
            digests.append(hashed.hexdigest())
        if "".join(digests).encode() != b"".join(told):
            return "the record does not match its own hash"
        monos, numbers = list(map(int, cut[3::_COLUMNS])), list(map(int, cut[5::_COLUMNS]))
        in_order = monos[0] >= self.mono and sorted(monos) == monos
        if cut[4::_COLUMNS] != [self.prev, *told[:-1]] or not in_order or numbers != list(
            range(self.number, self.number + count)
        ):
            return "the record does not follow the one before it"
        signatures = cut[6::_COLUMNS]
        signed = next((at for at in range(count - 1, -1, -1) if signatures[at]), None)
        if signed is not None:
            self.signed = self.number + signed, covered[signed], signatures[signed]
        return Records(self.number, cut[7::_COLUMNS], monos, told, fronts, backs)

    def _accept(self, records: Records) -> None:
        """Take sound records into account; a fault that is left is one of what they say, not of their form."""
        first, fronts = records.first, records.fronts
        if self.result.ended >= 0:
            self._nothing_after(records, 0)
        for at in [at for at, kind in enumerate(records.kinds) if kind not in _PLAIN]:
            self.number = first + at
            if records.kinds[at] == b"heard":
                said, audio = _commitments(fronts[at])
                if said or audio:
                    self.seen.hear(first + at, first + at + 1, said, audio)
            else:
                self._note(records, at)
        if self.taker is not None:
            self.taker.take(records)
        self.prev, self.mono = records.digests[-1], records.monos[-1]
        self.number = first + len(records.kinds)

    def _note(self, records: Records, at: int) -> None:
        """Keep account of how the run stands."""
        result, kind, seq = self.result, records.kinds[at], records.first + at
        if kind not in _KINDS:
            raise _BrokenError("the record is of no known type")
        if kind == b"sealed":
            prev = records.digests[at - 1] if at else self.prev
            result.heads.append((seq - 1, prev.decode()))
            result.sealed = result.ended >= 0
        elif kind == b"closed":
            if result.ended >= 0:
                raise _BrokenError("the run ends twice")
            result.ended = seq
            self._nothing_after(records, at + 1)
        elif kind == b"clock":
            result.clock_moves += 1
        elif kind == b"opened" and seq:
            raise _BrokenError("a second run begins inside this one")
        if kind in _TELLING:
            known = self.beginning if not seq else None
            self.seen.see(known or parse(RawLine(seq + 1, 0, records.line(at))))

    def _nothing_after(self, records: Records, start: int) -> None:
        """See to it that from ``start`` on only such records stand as may stand after the end."""
        for at in range(start, len(records.kinds)):
            if records.kinds[at] not in _AFTER_END:
                self.number = records.first + at
                raise _BrokenError("a record stands after the end of the run")

    def last_signature(self) -> tuple[int, str, str] | None:
        """Return the last signed record, the hash its signature is over, and the signature."""
        if self.signed is None:
            return None
        seq, covered, signature = self.signed
        return seq, sha256(without_signature(covered)).hexdigest(), signature.decode()


def _commitments(front: bytes) -> tuple[str, str]:
    """Return the hashes of words and recording in a "heard" line, by where canonical order puts them."""
    said = front.rindex(b'"said":"') + 8
    words = "" if front[said] == 0x22 else front[said : said + 64].decode("ascii", "replace")
    if not front.startswith(b'{"data":{"audio":"'):
        raise _BrokenError("the record has not the form of one")
    return words, "" if front[18] == 0x22 else front[18:82].decode("ascii", "replace")
