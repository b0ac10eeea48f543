"""A run's log read a page at a time, whatever its size and whatever is wrong with it.

A log is folded from its beginning, so the place at the start of each page is kept, and a later page is
read from there: neither a log of a gigabyte nor a jump to its end needs the whole of it in memory. A
line that is no sound record is told as such and changes nothing; the rest can still be looked at.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from assistant.debrief.moments import Lane, Moment, What
from assistant.debrief.timeline import Timeline
from assistant.errors import LogError
from assistant.journal.chain import MAX_LINE, RecordError
from assistant.journal.disk import trouble
from assistant.journal.lines import plain
from assistant.journal.reader import Entry, RawLine, log_file, parse
from assistant.journal.records import Heard, decode
from assistant.journal.words import FILE as WORDS
from assistant.journal.words import Said, parse_words

PAGE: Final = 600
"""Moments of one page. A coupling has about 250."""

_FAR: Final = 50
"""Pages that one jump looks through: 30,000 moments, some seconds."""

Found = Callable[[Moment], bool]


@dataclass(frozen=True)
class Place:
    """Where a page begins: offsets in the log and in the words, the line's number, and the fold so far."""

    offset: int
    line: int
    words: int
    prev: str
    fold: Timeline


@dataclass(frozen=True)
class Page:
    """Some moments in a row; ``more`` when there are later ones."""

    number: int
    moments: tuple[Moment, ...]
    more: bool


@dataclass
class RunLog:
    """One run's log, read by pages. ``begin`` makes the fold; ``bad`` are lines that the check found fault with."""

    path: Path
    begin: Callable[[], Timeline]
    bad: dict[int, str] = field(default_factory=dict)
    size: int = PAGE

    def __post_init__(self) -> None:
        self.path = log_file(self.path)
        self._places = [Place(0, 1, 0, "", self.begin())]

    def page(self, number: int) -> Page:
        """Return a page by its number from 0; the last one there is when there are fewer. Raises LogError."""
        while len(self._places) <= number:
            page = self._read(len(self._places) - 1)
            if not page.more:
                return page
        return self._read(number)

    def find(self, start: int, wanted: Found) -> tuple[int, int, bool]:
        """Look for the next wanted moment after number ``start``: its page, its number, and True.

        After `_FAR` pages without one: the page and number looked at last, and False.
        """
        number = first = self._page_of(start)
        while True:
            page = self.page(number)
            for moment in page.moments:
                if moment.number > start and wanted(moment):
                    return number, moment.number, True
            if not page.more or number - first >= _FAR:
                return number, page.moments[-1].number if page.moments else start, False
            number += 1

    def find_back(self, start: int, wanted: Found) -> tuple[int, int, bool]:
        """As `find`, before number ``start``."""
        number = first = self._page_of(start)
        while True:
            moments = self.page(number).moments
            for moment in reversed(moments):
                if moment.number < start and wanted(moment):
                    return number, moment.number, True
            if number == 0 or first - number >= _FAR:
                return number, moments[0].number if moments else start, False
            number -= 1

    def moment(self, number: int) -> Moment | None:
        """Return a moment by its number; None when there is none."""
        page = self.page(self._page_of(number))
        return next((one for one in page.moments if one.number == number), None)

    def _page_of(self, moment: int) -> int:
        """Return the page that holds a moment's number, reading on to it where nobody has been yet."""
        while moment >= self._places[-1].line - 1:
            known = len(self._places)
            self.page(known - 1)
            if len(self._places) == known:
                return known - 1
        return next(place for place, end in enumerate(self._places[1:]) if moment < end.line - 1)

    def _read(self, number: int) -> Page:
        place = self._places[number]
        fold = place.fold.copy()
        words = _Words(self.path.parent, place.words)
        moments: list[Moment] = []
        prev = place.prev
        for raw in _lines(self.path, place.offset, place.line):
            if len(moments) >= self.size:
                if len(self._places) == number + 1:
                    self._places.append(Place(raw.offset, raw.number, words.offset, prev, fold.copy()))
                return Page(number, tuple(moments), more=True)
            try:
                if not raw.whole:
                    raise RecordError("the line breaks off: the power failed while it was written, or it was cut")
                entry = parse(raw)
                told = self.bad.get(raw.number, "")
                if prev and entry.prev != prev and not told:
                    told = "The record does not follow the one before it."
                prev = entry.digest
                record = entry.record
            except RecordError as error:
                moments.append(_broken(raw, str(error), moments))
                prev = ""  # it is itself the gap: what follows is not blamed for it
                continue
            said = words.of(entry.seq, record) if isinstance(record, Heard) else None
            # By line, which is the record's number too unless lines were taken out or put in.
            moments += [replace(one, number=raw.number - 1, proven=not told) for one in fold.take(entry, said)]
        return Page(number, tuple(moments), more=False)


class _Words:
    """The words kept beside a log, in the order of its records."""

    def __init__(self, folder: Path, offset: int) -> None:
        self._path = folder / WORDS
        self.offset = offset
        self._waiting: Said | None = None
        self._lines = self._read()

    def of(self, seq: int, record: Heard) -> Said | None:
        """Return the words of a hearing, where they are kept and fit what the record vouches for."""
        if not record.said:
            return None
        while self._waiting is None or self._waiting.seq < seq:
            self._waiting = next(self._lines, None)
            if self._waiting is None:
                return None
        fits = self._waiting.seq == seq and self._waiting.commitment() == record.said
        return self._waiting if fits else None

    def _read(self) -> Iterator[Said]:
        try:
            file = self._path.open("rb")
        except OSError:
            return
        with file:
            file.seek(self.offset)
            while raw := file.readline(MAX_LINE):
                said = parse_words(raw)
                if said is not None:
                    yield said
                # Only what was used up is passed: the line that waits belongs to the next page too.
                self.offset += len(raw)


def _lines(path: Path, offset: int, number: int) -> Iterator[RawLine]:
    """Yield the lines of a log from a place on, of a line that is too long only its beginning."""
    try:
        with path.open("rb") as file:
            file.seek(offset)
            while data := file.readline(MAX_LINE + 2):
                whole = data.endswith(b"\n")
                length = len(data)
                while not whole and (rest := file.readline(MAX_LINE)):
                    length += len(rest)
                    whole = rest.endswith(b"\n")
                if not whole:
                    data = data.rstrip(b"\0")  # the room of a run that goes on, or was killed
                if data:
                    yield RawLine(number, offset, data.removesuffix(b"\n"), whole)
                offset += length
                number += 1
    except OSError as error:
        raise trouble("read the log", path, error) from error


def _broken(raw: RawLine, why: str, before: list[Moment]) -> Moment:
    """A line that is no sound record: what is wrong with it, and what it claims as far as that can be read."""
    last = before[-1] if before else None
    return Moment(
        raw.number - 1, last.at if last else 0, last.at if last else 0, last.wall if last else "", What.BROKEN,
        Lane.TABLET, "Not proven", f"Line {raw.number}: {why}.{_claim(raw.data)}", proven=False,
    )  # fmt: skip


def _claim(data: bytes) -> str:
    try:
        value = json.loads(data[:MAX_LINE])
        told = plain(decode(str(value["type"]), value["data"]), None)
    except (ValueError, TypeError, KeyError, RecursionError, RecordError):
        return ""
    return f" It claims ({value['type']}): {told[:400]}"


def last_entry(path: Path) -> Entry | None:
    """Return the last sound record of a log, read from its end; None when there is none."""
    path = log_file(path)
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            file.seek(max(0, size - 4 * MAX_LINE))
            tail = file.read()
    except OSError as error:
        raise trouble("read the log", path, error) from error
    for data in reversed(tail.split(b"\n")[-20:]):
        try:
            return parse(RawLine(1, 0, data, whole=True))
        except RecordError:
            continue
    return None


def first_entry(path: Path) -> Entry:
    """Return the record a log begins with; LogError when its first line is none."""
    path = log_file(path)
    for raw in _lines(path, 0, 1):
        try:
            return parse(raw)
        except RecordError as error:
            raise LogError(f"{path}, line 1: {error}.") from error
    raise LogError(f"{path} is empty: no run was begun in it.")


def record_hash(path: Path, number: object) -> str:
    """Return the hash of a record by its number, "" where there is no such sound record."""
    if type(number) is not int or number < 0:
        return ""
    raw = next((one for one in _lines(log_file(path), 0, 1) if one.number == number + 1), None)
    try:
        return parse(raw).digest if raw is not None and raw.whole else ""
    except RecordError:
        return ""
