"""Folding a log: the engine's inputs in order, and whether the same decisions come out again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import LogError
from assistant.journal.chain import RecordError, canonical
from assistant.journal.reader import Entry, LogReader
from assistant.journal.records import Decided, Json, Opened

Redecide = Callable[[Json, int], Json]
"""Takes an event and its ms on the run's clock, folds it, and returns the decision as JSON."""


@dataclass(frozen=True, slots=True)
class Input:
    """One engine input of a log: the event, when it came (ms on the run's clock), the decision then."""

    line: int
    at: int
    event: Json
    decision: Json


def as_input(entry: Entry, record: Decided) -> Input:
    """Return the engine's input in a log's entry."""
    return Input(entry.line, entry.mono, record.event, record.decision)


def inputs(path: Path) -> Iterator[Input]:
    """Yield the engine's inputs of a run, oldest first.

    A torn last line ends it quietly (the resume reports it); any other fault is a `LogError`.
    """
    for entry in LogReader(path):
        record = entry.record
        if isinstance(record, Decided):
            yield as_input(entry, record)


@dataclass(frozen=True, slots=True)
class Replay:
    """How a replay went. ``line`` is 0 and the rest empty when all decisions were the same."""

    decisions: int
    line: int = 0
    logged: str = ""
    again: str = ""

    @property
    def same(self) -> bool:
        """True when the engine decided the same byte for byte."""
        return self.line == 0


def replay(path: Path, factory: Callable[[Opened], Redecide]) -> Replay:
    """Fold a run's events through the engine again and compare the decisions byte for byte.

    ``factory`` returns the `Redecide` for a run as its "opened" record describes it. What an
    interruption did to the run is an event of its own and needs nothing special here. Stops at the
    first record that differs.
    """
    redecide: Redecide | None = None
    count = 0
    for found in inputs(path):
        redecide = redecide or factory(opened(path))
        count += 1
        logged, again = canonical(found.decision), _again(redecide, found)
        if logged != again:
            return Replay(count, found.line, logged.decode(), again.decode())
    return Replay(count)


def opened(path: Path) -> Opened:
    """Return the record a log begins with; LogError when it is no log."""
    for entry in LogReader(path):
        record = entry.record
        if isinstance(record, Opened):
            return record
    raise LogError(f"{path} holds no run.")


def _again(redecide: Redecide, found: Input) -> bytes:
    try:
        return canonical(redecide(found.event, found.at))
    except RecordError as error:
        raise LogError(f"Line {found.line}: the engine's decision cannot be written down: {error}.") from error
