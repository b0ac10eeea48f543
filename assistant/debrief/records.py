"""The records that are neither spoken, heard nor decided, in plain sentences. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from assistant.debrief.moments import What
from assistant.debrief.telling import plain
from assistant.journal.records import (
    Clock,
    Closed,
    Device,
    Forgotten,
    Note,
    Opened,
    Record,
    Resumed,
    Sealed,
)

Told = tuple[What, str, str, int]
"""The kind of moment, its title, its text, and how long the run lay still before it (ms)."""


def lasted(ms: int) -> str:
    """Return a length of time for people: "45 s", "3 min 05 s", "2 h 10 min", "3 days 4 h"."""
    seconds = max(0, round(ms / 1000))
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min {seconds % 60:02d} s"
    if seconds < 86_400:
        return f"{seconds // 3600} h {seconds % 3600 // 60} min"
    days = seconds // 86_400
    return f"{days} {'day' if days == 1 else 'days'} {seconds % 86_400 // 3600} h"


def clock(ms: int) -> str:
    """Return a time on the run's clock: "12:07", "1:02:07"."""
    seconds = ms // 1000
    hours, minutes = seconds // 3600, seconds // 60 % 60
    return f"{hours}:{minutes:02d}:{seconds % 60:02d}" if hours else f"{minutes}:{seconds % 60:02d}"


def level(text: str | None) -> float | None:
    """Return a level in dB of full scale from its text, None when there is none."""
    try:
        return float(text) if text is not None else None
    except ValueError:
        return None


def _opened(record: Opened) -> Told:
    kept = [name for name, agreed in (("words", record.consent_words), ("sound", record.consent_audio)) if agreed]
    text = f"Ears: {record.ears}. Voice: {record.voice}. Kept: {' and '.join(kept) or 'neither words nor sound'}."
    notes = "; ".join(record.notes)
    return What.NOTE, "Log opened", f"{text} {notes[:1].upper() + notes[1:] + '.' if notes else ''}".strip(), 0


def _device(record: Device) -> Told:
    return What.DEVICE, f"{plain(record.what).capitalize()} {plain(record.state)}", record.detail, 0


def _clock(record: Clock) -> Told:
    way = "forward" if record.moved_ms > 0 else "back"
    return What.CLOCK, "Clock set", f"The wall clock was set {way} by {lasted(abs(record.moved_ms))}.", 0


def _note(record: Note) -> Told:
    return What.NOTE, "Note", record.text, 0


def _resumed(record: Resumed) -> Told:
    away = record.away_ms
    text = "How long the run lay still is not known: the clock was set back meanwhile."
    if away is not None:
        text = f"The run lay still for {lasted(away)}."
    if record.changed:
        text += f" Files that had changed: {', '.join(record.changed)}."
    if record.torn:
        text += " A half-written end was set aside."
    return What.INTERRUPTION, "Interrupted", text, away or 0


def _closed(record: Closed) -> Told:
    return What.END, "Log closed", f"{plain(record.outcome).capitalize()}. {record.detail}".strip(), 0


def _sealed(record: Sealed) -> Told:
    return What.NOTE, "Code given out", f"For the paperwork: {record.code}.", 0


def _forgotten(record: Forgotten) -> Told:
    what = " and ".join({"audio": "recordings", "words": "spoken words"}.get(one, one) for one in record.what)
    return What.NOTE, "Forgotten", f"The {what} of this run were removed: {record.reason}.", 0


RECORDS: Final[Mapping[type[Record], Callable[[Any], Told]]] = {
    Opened: _opened,
    Device: _device,
    Clock: _clock,
    Note: _note,
    Resumed: _resumed,
    Closed: _closed,
    Sealed: _sealed,
    Forgotten: _forgotten,
}
