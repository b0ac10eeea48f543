"""Does a log stand up: is it whole, is it this tablet's, is it the one whose code is on the paper."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from assistant.errors import LogError
from assistant.journal.anchor import code_of, read_code
from assistant.journal.beside import Beside
from assistant.journal.chain import RecordError
from assistant.journal.diagnosis import Finding, Wrong, diagnose
from assistant.journal.keys import fingerprint, signed_by
from assistant.journal.reader import log_file, parse, raw_lines
from assistant.journal.records import Opened
from assistant.journal.room import room_behind
from assistant.journal.walk import Taker, Walk, walk

_MOST_HEADS = 100
"""Codes are slow to compute on purpose; a run gives out two, and two more each time it is resumed."""

_NEVER = (
    "what was not said aloud or not heard, and whether what was said was true",
    "that the clock on the wall was right",
    "a log made up by somebody who holds this tablet's private key: only a code written down before stands "
    "against that",
)


class State(StrEnum):
    """What a check comes to."""

    WHOLE = "whole"  # from its opening to its end, nothing altered
    UNFINISHED = "unfinished"  # nothing altered in what is there, but it has no end
    BROKEN = "broken"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome of `verify`. ``unseen`` says what this check cannot show.

    ``heads`` are the first and last points a code was given out for, as (record, hash); none when broken.
    """

    log: str
    state: State
    run: str
    records: int
    key: str
    heads: tuple[tuple[int, str], ...]
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    unseen: tuple[str, ...]

    @property
    def codes(self) -> tuple[str, ...]:
        """The codes of those points; slow to work out on purpose, so only when somebody asks."""
        return tuple(code_of(digest, self.run) for _, digest in self.heads)

    def text(self) -> str:
        """Return the outcome for people: the result first, then faults, notes and what stays open."""
        return "\n".join(self._lines()) + "\n"

    def _lines(self) -> Iterator[str]:
        yield {
            State.WHOLE: f"{self.log}: whole. {self.records} records, none altered.",
            State.UNFINISHED: f"{self.log}: UNFINISHED. {self.records} records, none altered, but no end.",
            State.BROKEN: f"{self.log}: DOES NOT VERIFY. {len(self.findings)} faults.",
        }[self.state]
        yield from (f"  {finding.what}" for finding in self.findings)
        yield from (f"  Note: {note}" for note in self.notes)
        if self.key:
            yield f"  Tablet key: {self.key}"
        yield "  This check cannot show:"
        yield from (f"  - {what};" for what in self.unseen[:-1])
        yield f"  - {self.unseen[-1]}."

    def as_json(self) -> str:
        """Return the outcome for programs, one JSON object."""
        return json.dumps(
            {
                "log": self.log,
                "state": self.state.value,
                "run": self.run,
                "records": self.records,
                "key": self.key,
                "codes": list(self.codes),
                "findings": [
                    {"wrong": item.wrong.value, "line": item.line, "what": item.what} for item in self.findings
                ],
                "notes": list(self.notes),
                "cannot_show": list(self.unseen),
            },
            ensure_ascii=False,
        )


@dataclass(slots=True)
class _Case:
    """What is gathered while a log is looked at."""

    path: Path
    seen: Walk
    beside: Beside
    found: list[Finding] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unseen: list[str] = field(default_factory=list)

    def fault(self, wrong: Wrong, what: str, line: int = 0) -> None:
        self.found.append(Finding(wrong, line, what))


def verify(path: Path, *, public: str = "", code: str = "", taker: Taker | None = None) -> Verdict:
    """Check a run's log (its folder, or the file) and what lies beside it.

    ``public`` is the tablet's public key in hex and ``code`` a code from the paperwork, each "" when not
    at hand. ``taker`` gets every record on the way; what it got counts for nothing when the log is broken.
    Raises `LogError` when the file cannot be read or holds no log at all, and `InputError` for
    a code that was copied wrongly.
    """
    wanted = read_code(code) if code else ""
    path = log_file(path)
    beside = Beside(path.parent)
    case = _Case(path, walk(path, beside, taker), beside)
    if case.seen.fault is None and not case.seen.records:
        raise LogError(f"{path} is not a log: no line in it is a record.")
    if case.seen.fault is not None:
        case.beside = Beside(path.parent)
        _diagnose(case, public)
    _check_key(case, public)
    if case.seen.fault is None:
        _check_signature(case, public)
        _check_end(case)
    _check_code(case, wanted)
    case.beside.finish()
    return _verdict(case)


def _diagnose(case: _Case, public: str) -> None:
    case.seen.opened = case.seen.opened or _first_opened(case.path)
    opened = case.seen.opened
    signer = public or (opened.key if opened else "")
    case.found.extend(diagnose(case.path, signer, case.beside))
    if not case.found and case.seen.fault is not None:
        line, why = case.seen.fault
        case.fault(Wrong.ALTERED, f"Line {line}: {why}.", line)


def _first_opened(path: Path) -> Opened | None:
    """Return the record of the run's beginning wherever it stands; LogError when nothing is a record."""
    records = 0
    for raw in raw_lines(path):
        try:
            record = parse(raw).record
        except RecordError:
            continue
        if isinstance(record, Opened):
            return record
        records += 1
    if not records:
        raise LogError(f"{path} is not a log: no line in it is a record.")
    return None


def _check_key(case: _Case, public: str) -> None:
    opened = case.seen.opened
    if not public:
        case.unseen.append(
            "whose log this is, for no public key was given: anyone can make a log that is whole under a key "
            "of their own"
        )
    elif opened is not None and opened.key != public:
        case.fault(
            Wrong.SIGNATURE,
            f"The run was signed with the key {_name(opened.key)}, not with the given key {_name(public)}.",
        )


def _check_signature(case: _Case, public: str) -> None:
    """Check the last signature; through the chain it vouches for every record before it."""
    seen = case.seen
    signer = public or (seen.opened.key if seen.opened else "")
    if seen.last_signed is None:
        case.fault(Wrong.SIGNATURE, "No record is signed.")
        return
    seq, signed, signature = seen.last_signed
    if not signed_by(signer, signed, signature):
        first = _first_unsigned(case.path, signer)
        case.fault(
            Wrong.SIGNATURE,
            f"Record {first} and all after it are not signed by the tablet: rewritten from some record up to "
            f"{first} on.",
            first + 1,
        )
    behind = seen.records - 1 - seq
    if behind:
        case.notes.append(f"The last {behind} records stand behind the last signature (record {seq}).")
        case.unseen.append(f"that records {seq + 1} to {seen.records - 1} were not rewritten: not signed yet")


def _first_unsigned(path: Path, signer: str) -> int:
    """Return the first signed record whose signature is not the tablet's."""
    for raw in raw_lines(path):
        entry = parse(raw)
        if entry.signature and not signed_by(signer, entry.signed, entry.signature):
            return entry.seq
    return 0


def _check_end(case: _Case) -> None:
    seen = case.seen
    if seen.torn:
        case.notes.append(
            f"Line {seen.torn}, the last one, breaks off: it was cut, or the power failed while it was written. "
            "It counts for nothing; a resume sets it aside and reports it."
        )
    room = room_behind(case.path) if seen.sealed else 0
    if room:
        case.notes.append(
            f"{room} bytes of noughts stand behind the end: room for more records, which the program was ended "
            "before it could cut off. They say nothing."
        )
    if not seen.sealed:
        case.notes.append(
            "The run has no sealed end: it goes on, or was interrupted, or its end was cut off. A code from "
            "the paperwork tells which."
        )
    if seen.clock_moves:
        case.notes.append(f"The wall clock was set {seen.clock_moves} times during the run.")


def _check_code(case: _Case, wanted: str) -> None:
    seen = case.seen
    if not wanted:
        case.unseen.append(
            "records cut off the end by somebody who then signed on, for no code from the paperwork was given"
            if seen.sealed
            else "records cut off the end, for no code from the paperwork was given"
        )
        return
    heads = seen.heads[-_MOST_HEADS:]
    run = seen.opened.run if seen.opened else ""
    for place, (seq, digest) in enumerate(heads):
        if code_of(digest, run) == wanted:
            note = f"The code {wanted} is the one of record {seq}"
            if place < len(heads) - 1:
                case.unseen.append(f"by that code anything after record {seq}; later codes do that")
            case.notes.append(note + ".")
            return
    case.fault(
        Wrong.CODE,
        f"The code {wanted} fits no point of this log: its end was cut off, it was rewritten, or it is another run's.",
    )


def _verdict(case: _Case) -> Verdict:
    opened, seen = case.seen.opened, case.seen
    found = case.found + case.beside.found
    state = State.WHOLE if seen.sealed and not seen.torn else State.UNFINISHED
    return Verdict(
        log=str(case.path),
        state=State.BROKEN if found else state,
        run=opened.run if opened else "",
        records=seen.records,
        key=_name(opened.key) if opened else "",
        heads=tuple(seen.heads[:1] + seen.heads[1:][-1:]) if opened and not found else (),
        findings=tuple(found),
        notes=tuple(case.notes + case.beside.notes),
        unseen=(*case.unseen, *_NEVER),
    )


def _name(key: str) -> str:
    """Return a key's name for people, whatever stands in its place."""
    try:
        return fingerprint(key)
    except ValueError:
        return "(none)"
