"""The log for people and for other programs: each record with the words that were said, if still kept."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from assistant.journal.reader import Entry, LogReader, log_file
from assistant.journal.records import Decided, Heard, Record, Spoke
from assistant.journal.words import Said, read_words


def with_words(path: Path) -> Iterator[tuple[Entry, Said | None]]:
    """Yield a run's entries in order, with the words of the hearings where they are kept and fit.

    Raises `LogError` at the first line that does not fit.
    """
    path = log_file(path)
    words = read_words(path.parent)
    waiting: Said | None = None
    for entry in LogReader(path):
        record = entry.record
        if not isinstance(record, Heard) or not record.said:
            yield entry, None
            continue
        while waiting is None or waiting.seq < entry.seq:
            waiting = next(words, None)
            if waiting is None:
                break
        fits = waiting is not None and waiting.seq == entry.seq and waiting.commitment() == record.said
        yield entry, waiting if fits else None


def plain(record: Record, said: Said | None) -> str:
    """Return what a record says in one line of plain text, with nothing in it that steers a terminal."""
    told = " ".join(_told(record, said).split())
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in told)


def _told(record: Record, said: Said | None) -> str:
    if isinstance(record, Heard):
        return _heard(record, said)
    if isinstance(record, Spoke):
        told = " / ".join(str(line.get("text", "")) for line in record.lines)
        return told if record.complete else f"{told} (cut short)"
    if isinstance(record, Decided):
        decision = record.decision
        return "; ".join(f"{name} {_short(decision[name])}" for name in decision if decision[name])
    data = record.to_data()
    return "; ".join(f"{name} {_short(value)}" for name, value in data.items() if value not in ("", [], {}, None))


def _heard(record: Heard, said: Said | None) -> str:
    if record.reading is not None:
        came_to = f"reading {record.reading.get('value')} {record.reading.get('unit') or 'without a unit'}"
    else:
        came_to = record.phrase or f"no answer ({record.unheard})"
    if said is not None:
        return f"{record.who} “{said.words}”: {came_to}"
    return f"{record.who}: {came_to}" + (" (words not kept)" if record.said else "")


def _short(value: object) -> str:
    text = ", ".join(f"{k}={v}" for k, v in value.items()) if isinstance(value, dict) else str(value)
    return text if len(text) <= 200 else text[:200] + " …"
