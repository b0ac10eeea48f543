"""What exactly was done to a log that does not verify: altered, removed, inserted, moved, doubled, cut.

Works from an index of all lines, a few dozen bytes each, made only when the fast walk could not go on.
A record's own number and its two links (its ``prev``, and the ``prev`` of the next) tell where it
belongs whatever the order of the lines.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from assistant.journal.chain import RecordError, genesis
from assistant.journal.keys import signed_by
from assistant.journal.reader import Entry, RawLine, parse, raw_lines
from assistant.journal.records import Heard, Opened
from assistant.journal.walk import TELLS_OF_FILES, Beholder

_SEQ = re.compile(rb'","seq":(\d{1,15}),"(?:sig|type)":"')


class Wrong(StrEnum):
    """What can be wrong with a log; the codes are for programs."""

    ALTERED = "altered"
    REPLACED = "replaced"
    REMOVED = "removed"
    INSERTED = "inserted"
    MOVED = "moved"
    DOUBLED = "doubled"
    NOT_A_RECORD = "not-a-record"
    CUT = "cut"
    SIGNATURE = "signature"
    CODE = "code"
    WORDS = "words"
    AUDIO = "audio"


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault: what it is, at which line of which file (0: the whole), and a sentence about it."""

    wrong: Wrong
    line: int
    what: str


@dataclass(slots=True)
class _Line:
    number: int
    seq: int
    digest: str = ""
    prev: str = ""
    kind: str = ""


def diagnose(path: Path, public: str, seen: Beholder) -> list[Finding]:
    """Return all faults of a log's chain, by line.

    ``seen`` gets the records that speak of other files and are sound in themselves, by their numbers.
    """
    found: list[Finding] = []
    lines: list[_Line] = []
    entries: dict[int, Entry] = {}  # by line
    start = ""
    for raw in raw_lines(path):
        try:
            if not raw.whole:
                raise RecordError("it breaks off")
            entry = parse(raw)
            record = entry.record
        except RecordError as error:
            lines.append(_bad(raw, str(error), found))
            continue
        if entry.signature and not signed_by(public, entry.signed, entry.signature):
            found.append(Finding(Wrong.SIGNATURE, raw.number, f"Line {raw.number}: the signature is not the tablet's."))
        if isinstance(record, Opened) and not start:
            start = genesis(record.run)
        lines.append(_Line(raw.number, entry.seq, entry.digest, entry.prev, entry.kind))
        if entry.kind in TELLS_OF_FILES:
            entries[entry.line] = entry
    unique = _without_doubles(lines, found)
    genuine = _without_strangers(unique, start, found)
    for line in sorted(genuine, key=lambda line: line.seq):
        if line.number in entries:
            _tell(entries[line.number], seen)
    _moved(genuine, found)
    _missing(genuine, found)
    _unlinked(genuine, start, found)
    return sorted(found, key=lambda finding: finding.line)


def _tell(entry: Entry, seen: Beholder) -> None:
    record = entry.record
    if isinstance(record, Heard):
        seen.hear(entry.seq, entry.line, record.said, record.audio)
    else:
        seen.see(entry)


def _bad(raw: RawLine, why: str, found: list[Finding]) -> _Line:
    """Report a line that is no sound record; return what can still be seen of it."""
    seq = [int(number) for number in _SEQ.findall(raw.data[-600:])]
    if not raw.whole:
        what = "the last line breaks off: it was cut, or the power failed while it was written."
        found.append(Finding(Wrong.CUT, raw.number, f"Line {raw.number}: {what}"))
    elif seq:
        found.append(Finding(Wrong.ALTERED, raw.number, f"Line {raw.number}: record {seq[-1]} was altered ({why})."))
    else:
        found.append(Finding(Wrong.NOT_A_RECORD, raw.number, f"Line {raw.number}: no record ({why})."))
    return _Line(raw.number, seq[-1] if seq else -1)


def _without_doubles(lines: list[_Line], found: list[Finding]) -> list[_Line]:
    first: dict[str, int] = {}
    kept = []
    for line in lines:
        if line.digest and line.digest in first:
            what = f"Line {line.number}: record {line.seq} again, as in line {first[line.digest]}."
            found.append(Finding(Wrong.DOUBLED, line.number, what))
            continue
        if line.digest:
            first[line.digest] = line.number
        kept.append(line)
    return kept


def _without_strangers(lines: list[_Line], start: str, found: list[Finding]) -> list[_Line]:
    """Report records that no neighbour is linked with while another stands in their place."""
    digests = {line.digest for line in lines} | {start}
    prevs = {line.prev for line in lines}
    claims: dict[int, list[_Line]] = {}
    for line in lines:
        claims.setdefault(line.seq, []).append(line)

    def links(line: _Line) -> int:
        return (line.prev in digests) + (line.digest in prevs) if line.digest else 0

    kept = []
    for line in lines:
        rivals = claims[line.seq]
        if line.digest and len(rivals) > 1 and links(line) < max(map(links, rivals)):
            what = f"Line {line.number}: a record {line.seq} that does not belong to this log was inserted."
            found.append(Finding(Wrong.INSERTED, line.number, what))
        else:
            kept.append(line)
    return kept


def _moved(lines: list[_Line], found: list[Finding]) -> None:
    """Report the fewest records whose taking out leaves the rest in order."""
    numbered = [line for line in lines if line.seq >= 0]
    in_order = {line.number for line in _longest_run(numbered)}
    for line in numbered:
        if line.number not in in_order:
            place = f"it belongs after record {line.seq - 1}" if line.seq else "it belongs first"
            what = f"Line {line.number}: record {line.seq} was moved here; {place}."
            found.append(Finding(Wrong.MOVED, line.number, what))


def _longest_run(lines: list[_Line]) -> Iterator[_Line]:
    """Yield, last first, a longest subsequence of lines with ascending record numbers."""
    tails: list[int] = []
    ends: list[int] = []
    before: list[int] = []
    for place, line in enumerate(lines):
        at = bisect_left(tails, line.seq)
        before.append(ends[at - 1] if at else -1)
        tails[at : at + 1] = [line.seq]
        ends[at : at + 1] = [place]
    place = ends[-1] if ends else -1
    while place >= 0:
        yield lines[place]
        place = before[place]


def _missing(lines: list[_Line], found: list[Finding]) -> None:
    """Report gaps in the numbers; a line that is no record stands for one missing record at its place."""
    wrecks = [line.number for line in lines if line.seq < 0]
    expected, last = 0, 0
    for line in sorted((line for line in lines if line.seq >= 0), key=lambda line: line.seq):
        between = bisect_left(wrecks, line.number) - bisect_left(wrecks, last)
        if line.seq - expected > max(between, 0):
            many = line.seq - expected > 1
            which = f"records {expected} to {line.seq - 1} are" if many else f"record {expected} is"
            found.append(Finding(Wrong.REMOVED, line.number, f"Before line {line.number}: {which} missing."))
        expected, last = line.seq + 1, line.number


def _unlinked(lines: list[_Line], start: str, found: list[Finding]) -> None:
    """Report neighbours by number that are sound in themselves and yet not linked."""
    by_seq = {line.seq: line for line in lines if line.digest}
    for seq, line in sorted(by_seq.items()):
        before = by_seq.get(seq - 1)
        if before is not None and line.prev != before.digest:
            what = f"record {seq - 1} is not the one that record {seq} was linked to: it was replaced."
            found.append(Finding(Wrong.REPLACED, before.number, f"Line {before.number}: {what}"))
        elif seq == 0 and line.prev != start:
            found.append(Finding(Wrong.REPLACED, line.number, f"Line {line.number}: not the run's first record."))
