"""Reading a log: line by line, in flat memory, with a line number and a reason for every fault."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from assistant.errors import LogError
from assistant.journal.chain import (
    MAX_LINE,
    VERSION,
    RecordError,
    genesis,
    is_canonical,
    without_hash,
    without_signature,
)
from assistant.journal.disk import trouble
from assistant.journal.records import Opened, Record, decode
from assistant.journal.room import torn_line, was_being_written, written

LOG = "log.jsonl"
_CHUNK = 1 << 18
_HEX = re.compile(r"[0-9a-f]*")
_WALL = re.compile(r"\d{4}-[01]\d-[0-3]\dT[0-2]\d:[0-5]\d:[0-5]\d\.\d{3}Z", re.ASCII)


class RawLine(NamedTuple):
    """One line as it stands in the file, without its newline; ``whole`` unless it was being written.

    Of a line longer than `MAX_LINE` only the beginning is kept.
    """

    number: int
    offset: int
    data: bytes
    whole: bool = True


@dataclass(frozen=True)
class Entry:
    """One readable line of a log. ``wall`` is ISO 8601 UTC, ``mono`` ms on the run's own clock.

    ``signature`` is "" where the record is not signed; ``signed`` is the hash it is made over.
    """

    line: int
    seq: int
    kind: str
    wall: str
    mono: int
    prev: str
    digest: str
    signature: str
    signed: str
    data: dict[str, object]

    @cached_property
    def record(self) -> Record:
        """The typed record; `RecordError` when the data does not fit its type."""
        return decode(self.kind, self.data)


@dataclass(frozen=True, slots=True)
class Torn:
    """The end of a log that is no record: where it begins (bytes), what stands there, and why."""

    line: int
    offset: int
    data: bytes
    why: str


def log_file(path: Path) -> Path:
    """Return the log file of a run folder, or the path itself when it names a file."""
    return path / LOG if path.is_dir() else path


class Block(NamedTuple):
    """Some lines in a row, each with a newline; ``whole`` is False for a last line that was being written.

    ``lost`` bytes of the first line were left out because it is longer than `MAX_LINE`. The newline of a file's
    last line may be ours.
    """

    text: bytes
    lost: int
    whole: bool


def blocks(path: Path) -> Iterator[Block]:
    """Yield every line of a file up to its room, many at a time.

    Memory stays flat whatever stands in it; LogError when it cannot be read. What is appended meanwhile
    is left for the next time.
    """
    rest, lost, place = b"", 0, 0
    try:
        with path.open("rb") as file:
            end = written(file)
            torn = torn_line(file, end)
            end -= len(torn)
            file.seek(0)
            while chunk := file.read(min(_CHUNK, end - place)):
                place += len(chunk)
                text = rest + chunk
                cut = text.rfind(b"\n") + 1
                rest = text[cut:]
                if cut:
                    yield Block(text[:cut], lost, whole=True)
                    lost = 0
                if len(rest) > MAX_LINE:
                    lost += len(rest) - MAX_LINE - 1
                    rest = rest[: MAX_LINE + 1]
    except OSError as error:
        raise trouble("read the log", path, error) from error
    if torn:
        yield Block(torn.removesuffix(b"\n") + b"\n", 0, whole=False)
    elif rest:
        # Noughts that no power cut leaves there make it a line that somebody spoilt.
        yield Block(rest + b"\n", lost, whole=not was_being_written(rest, end - len(rest) - lost))


def raw_lines(path: Path) -> Iterator[RawLine]:
    """Yield every line of a file with its number and place; as `blocks` otherwise."""
    number, offset = 1, 0
    for block in blocks(path):
        for place, data in enumerate(block.text[:-1].split(b"\n")):
            yield RawLine(number, offset, data, block.whole)
            offset += len(data) + 1 + (block.lost if place == 0 else 0)
            number += 1


def parse(raw: RawLine) -> Entry:
    """Return the entry in a line; raise `RecordError` with the reason when it is no whole record.

    Checks form, canonical order, and that the hash fits the content; not its place in the chain.
    """
    if len(raw.data) > MAX_LINE:
        raise RecordError(f"the line is longer than {MAX_LINE} bytes, which no record is")
    try:
        value = _decode(raw.data.decode())
    except RecordError:
        raise
    except (ValueError, RecursionError) as error:
        raise RecordError("the line is no JSON text") from error
    if not isinstance(value, dict):
        raise RecordError("the line is no record")
    if value.get("v") != VERSION:
        raise RecordError(f"the record has version {value.get('v')!r}, and this program reads {VERSION}")
    if not is_canonical(value, raw.data):
        raise RecordError("the line is not in canonical form")
    entry = _entry(value, raw)
    if hashlib.sha256(without_hash(raw.data)).hexdigest() != entry.digest:
        raise RecordError("the record does not match its own hash")
    return entry


def _no_float(text: str) -> object:
    raise RecordError(f"the line holds {text}, which is no whole number")


_decode = json.JSONDecoder(parse_float=_no_float, parse_constant=_no_float).decode

_FIELDS = {
    "data": dict,
    "hash": str,
    "mono": int,
    "prev": str,
    "seq": int,
    "type": str,
    "v": int,
    "wall": str,
}


def _entry(value: dict[str, object], raw: RawLine) -> Entry:
    signed = "sig" in value
    signature = value.pop("sig", "")
    if set(value) != set(_FIELDS):
        odd = sorted(set(value) ^ set(_FIELDS))[0]
        raise RecordError(f'the field "{odd}" is missing or has no place in a record')
    for name, kind in _FIELDS.items():
        if type(value[name]) is not kind:
            raise RecordError(f'the field "{name}" does not hold what it should')
    _check_hex("hash", value["hash"], 64)
    _check_hex("prev", value["prev"], 64)
    if signed:
        _check_hex("sig", signature, 128)
    if not _WALL.fullmatch(str(value["wall"])):
        raise RecordError('the field "wall" is no time')
    unsigned = without_signature(without_hash(raw.data)) if signature else b""
    return Entry(
        line=raw.number,
        seq=value["seq"],  # type: ignore[arg-type]
        kind=value["type"],  # type: ignore[arg-type]
        wall=value["wall"],  # type: ignore[arg-type]
        mono=value["mono"],  # type: ignore[arg-type]
        prev=value["prev"],  # type: ignore[arg-type]
        digest=value["hash"],  # type: ignore[arg-type]
        signature=str(signature),
        signed=hashlib.sha256(unsigned).hexdigest() if signature else "",
        data=value["data"],  # type: ignore[arg-type]
    )


def _check_hex(name: str, value: object, length: int) -> None:
    if not (isinstance(value, str) and len(value) == length and _HEX.fullmatch(value)):
        raise RecordError(f'the field "{name}" is no {length} hexadecimal digits')


class LogReader:
    """Iterates over the entries of a log and stops with a sentence at the first that does not fit.

    A last line that is no record is no error, for that is what a power cut leaves: it ends the
    iteration and is then in ``torn``. ``opened`` is set once the first entry was seen, ``end`` is the
    size in bytes of the part that is good.
    """

    def __init__(self, path: Path) -> None:
        self.path = log_file(path)
        self.opened: Opened | None = None
        self.torn: Torn | None = None
        self.end = 0
        self._prev = ""
        self._mono = 0
        self._seq = 0

    def __iter__(self) -> Iterator[Entry]:
        """Yield the entries in order. Raises `LogError` naming the line and the reason."""
        lines = raw_lines(self.path)
        for raw in lines:
            try:
                if not raw.whole:
                    raise RecordError("the line breaks off")
                entry = parse(raw)
            except RecordError as error:
                later = next(lines, None)
                if later is not None or raw.number == 1:
                    raise self._fault(raw.number, str(error)) from error
                self.torn = Torn(raw.number, raw.offset, self._rest(raw.offset), str(error))
                return
            self._follow(entry)
            self.end = raw.offset + len(raw.data) + 1
            yield entry
        if self.opened is None:
            raise LogError(f"{self.path} is empty: no run was begun in it.")

    def _follow(self, entry: Entry) -> None:
        """Check that an entry follows the ones before it and that its record is of a known type."""
        try:
            record = entry.record
        except RecordError as error:
            raise self._fault(entry.line, str(error)) from error
        if self.opened is None:
            if not isinstance(record, Opened):
                raise self._fault(entry.line, "a log begins with a record “opened”")
            self.opened = record
            self._prev = genesis(record.run)
        elif isinstance(record, Opened):
            raise self._fault(entry.line, "a second run begins inside this one")
        if entry.prev != self._prev or entry.seq != self._seq or entry.mono < self._mono:
            raise self._fault(entry.line, "the record does not follow the one before it")
        self._prev, self._seq, self._mono = entry.digest, entry.seq + 1, entry.mono

    def _fault(self, line: int, why: str) -> LogError:
        return LogError(f"{self.path}, line {line}: {why}. Run `hitchcall log verify` to see all faults.")

    def _rest(self, offset: int) -> bytes:
        """Return what stands from an offset on to the room; bounded, since garbage may be of any size."""
        with self.path.open("rb") as file:
            end = written(file)
            file.seek(offset)
            return file.read(max(0, min(end - offset, MAX_LINE)))
