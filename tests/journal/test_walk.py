"""The fast walk takes lines in blocks; what it hands on and where it halts may not hang on where blocks end."""

from __future__ import annotations

import re
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.journal import reader
from assistant.journal.chain import MAX_LINE, without_hash
from assistant.journal.reader import LOG, Entry, LogReader
from assistant.journal.walk import DATA, Records, walk

AGAIN = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


class Kept:
    """Keeps all that a walk tells."""

    def __init__(self) -> None:
        self.lines: list[bytes] = []
        self.told: list[tuple[int, bytes, int, bytes, bytes]] = []
        self.heard: list[tuple[int, int]] = []

    def begin(self, first: Entry) -> None:
        """Nothing."""

    def take(self, records: Records) -> None:
        """Keep the records as they come."""
        for at, kind in enumerate(records.kinds):
            data = records.fronts[at][DATA:]
            self.lines.append(records.line(at))
            self.told.append((records.first + at, kind, records.monos[at], records.digests[at], data))

    def see(self, entry: Entry) -> None:
        """Nothing."""

    def hear(self, seq: int, line: int, _said: str, _audio: str) -> None:
        """Keep which was heard."""
        self.heard.append((seq, line))


@AGAIN
@given(size=st.integers(1, 6000))
def test_what_is_read_is_what_was_verified(run: Path, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Figures are made of the very bytes that were verified, each once and in order, wherever a block ends."""
    log, kept = run / LOG, Kept()
    monkeypatch.setattr(reader, "_CHUNK", size)
    assert walk(log, kept, kept).fault is None
    assert b"".join(line + b"\n" for line in kept.lines) == log.read_bytes()
    assert [sha256(without_hash(line)).hexdigest().encode() for line in kept.lines] == [one[3] for one in kept.told]
    entries = list(LogReader(log))
    assert [(seq, kind.decode(), mono) for seq, kind, mono, _, _ in kept.told] == [
        (one.seq, one.kind, one.mono) for one in entries
    ]
    assert kept.heard == [(one.seq, one.line) for one in entries if one.kind == "heard" and one.data["said"]]


@AGAIN
@given(size=st.integers(1, 20_000), data=st.data())
def test_a_walk_halts_at_the_faulty_line(
    run: Path, monkeypatch: pytest.MonkeyPatch, size: int, data: st.DataObject
) -> None:
    """A record that was altered is never passed on, nor one behind it, and the ones before it all are."""
    log, kept = run / LOG, Kept()
    whole = log.read_bytes()
    lines = whole.splitlines(keepends=True)
    number = data.draw(st.integers(1, len(lines) - 1))
    at = data.draw(st.integers(0, len(lines[number]) - 2))
    spoilt = bytearray(lines[number])
    spoilt[at] ^= 1 << data.draw(st.integers(0, 7))
    monkeypatch.setattr(reader, "_CHUNK", size)
    log.write_bytes(b"".join([*lines[:number], bytes(spoilt), *lines[number + 1 :]]))
    try:
        found = walk(log, kept, kept)
    finally:
        log.write_bytes(whole)
    assert found.fault is not None
    assert found.fault[0] == number + 1
    assert found.records == number == len(kept.lines)


def hashed(front: bytes, back: bytes) -> bytes:
    """Return a line, newline and all, that is what its hash says, whatever it says."""
    return b'%b,"hash":"%b"%b\n' % (front, sha256(front + back).hexdigest().encode(), back)


def as_it_was(front: bytes, back: bytes) -> bytes:
    """Return a record unchanged."""
    return hashed(front, back)


def other_link(front: bytes, back: bytes) -> bytes:
    """Link a record with another than the one before."""
    return hashed(front, re.sub(rb'"prev":"[0-9a-f]{64}"', b'"prev":"' + b"0" * 64 + b'"', back))


def other_number(front: bytes, back: bytes) -> bytes:
    """Give a record the next number but one."""
    return hashed(front, re.sub(rb'"seq":(\d+)', lambda seq: b'"seq":%d' % (int(seq[1]) + 1), back))


def earlier(front: bytes, back: bytes) -> bytes:
    """Put a record before the one it follows."""
    return hashed(front, re.sub(rb'"mono":\d+', b'"mono":0', back))


def of_no_type(front: bytes, back: bytes) -> bytes:
    """Give a record a type that is none."""
    return hashed(front, re.sub(rb'"type":"[a-z]+"', b'"type":"guessed"', back))


def two_lines(front: bytes, back: bytes) -> bytes:
    """Break a record's line within its data, where JSON would let it."""
    return hashed(front.replace(b":{", b":{\n", 1), back)


def field_before(front: bytes, back: bytes) -> bytes:
    """Put a field before the data."""
    return hashed(front.replace(b'{"data"', b'{"a":1,"data"', 1), back)


def field_behind(front: bytes, back: bytes) -> bytes:
    """Put a field behind the data."""
    return hashed(front + b',"e":1', back)


def too_long(front: bytes, back: bytes) -> bytes:
    """Make a record longer than any is."""
    return hashed(front.replace(b'{"data":{', b'{"data":{"a":"%b",' % (b"a" * MAX_LINE), 1), back)


OUT_OF_PLACE = (
    other_link, other_number, earlier, of_no_type, two_lines, field_before, field_behind, too_long,
)  # fmt: skip


@AGAIN
@given(size=st.integers(1, 20_000), keep=st.integers(3, 12), change=st.sampled_from((as_it_was, *OUT_OF_PLACE)))
def test_a_record_with_a_sound_hash_has_its_place_and_form(
    run: Path, monkeypatch: pytest.MonkeyPatch, size: int, keep: int, change: Callable[[bytes, bytes], bytes]
) -> None:
    """Whoever alters a record and hashes it anew is found out at that very line, with no key and no signature."""
    log, kept = run / LOG, Kept()
    whole = log.read_bytes()
    lines = whole.splitlines(keepends=True)[:keep]
    front, _, rest = lines.pop().rpartition(b',"hash":"')
    monkeypatch.setattr(reader, "_CHUNK", size)
    log.write_bytes(b"".join([*lines, change(front, rest[65:-1])]))
    try:
        found = walk(log, kept, kept)
    finally:
        log.write_bytes(whole)
    assert (found.fault[0] if found.fault else 0) == (0 if change is as_it_was else keep)
    assert found.records == keep - (change is not as_it_was)
    assert len(kept.lines) <= found.records, "a record that does not fit is handed to nobody"


@AGAIN
@given(size=st.integers(1, 20_000))
def test_nothing_stands_after_the_end(run: Path, monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """A run that was closed cannot go on in the same log, though the record be chained as it should."""
    log, kept = run / LOG, Kept()
    whole = log.read_bytes()
    entries = list(LogReader(log))
    last = entries[-1]
    back = b',"mono":%d,"prev":"%b","seq":%d,"type":"note","v":1,"wall":"%b"}' % (
        last.mono, last.digest.encode(), last.seq + 1, last.wall.encode(),
    )  # fmt: skip
    monkeypatch.setattr(reader, "_CHUNK", size)
    log.write_bytes(whole + hashed(b'{"data":{}', back))
    try:
        found = walk(log, kept, kept)
    finally:
        log.write_bytes(whole)
    assert found.fault == (len(entries) + 1, "a record stands after the end of the run")
