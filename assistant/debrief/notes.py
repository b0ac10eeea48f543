"""A trainer's notes on a run: in a file of their own, signed with the trainer's own key.

Never in the log, which is the driver's, and not in the run's folder unless asked. The file names the run
and the record at its end when the notes were written (number and hash), so that notes cannot be moved to
another run, nor kept beside a log that was changed behind them. Each trainer has a file of their own.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path
from typing import Final

from assistant.debrief.run_log import last_entry, record_hash
from assistant.errors import InputError, LogError
from assistant.journal.chain import RecordError, canonical
from assistant.journal.disk import Disk, trouble
from assistant.journal.keys import TabletKey, fingerprint, signed_by

FORMAT: Final = 1
LONGEST: Final = 4000
MOST: Final = 500
_BOUND: Final = 4 * 1024 * 1024  # bytes of a file of notes


@dataclass(frozen=True, slots=True)
class TrainerNote:
    """One note: on which moment (its number), when it was written (UTC), and what it says."""

    moment: int
    wall: str
    text: str


@dataclass(frozen=True, slots=True)
class Notes:
    """One trainer's notes on a run. ``by`` is the key's name for people; ``fault`` why they do not stand up."""

    path: Path
    by: str
    own: bool
    notes: tuple[TrainerNote, ...]
    fault: str = ""


class NoteBook:
    """Reads and writes the notes on runs in ``folder``, signing with ``key``."""

    def __init__(self, folder: Path, key: TabletKey, disk: Disk | None = None) -> None:
        self.folder = folder
        self._key = key
        self._disk = disk or Disk()

    def read(self, run: str, log: Path) -> list[Notes]:
        """Return all notes on a run, this trainer's first; a file that does not stand up says why."""
        mine = self._path(run, self._key.public)
        found = [self._read(path, run, log) for path in sorted(self.folder.glob(f"{_safe(run)}.*.json"))]
        return sorted(found, key=lambda notes: notes.path != mine)

    def add(self, run: str, log: Path, note: TrainerNote) -> Notes:
        """Add a note and sign the file anew; raises InputError or LogError, and then nothing was changed."""
        if not note.text.strip() or len(note.text) > LONGEST:
            raise InputError(f"A note has 1 to {LONGEST} letters.")
        path = self._path(run, self._key.public)
        before = self._read(path, run, log) if path.exists() else None
        if before is not None and before.fault:
            raise LogError(f"{path} does not stand up ({before.fault}) Move it away before you write new notes.")
        notes = (*(before.notes if before else ()), note)
        if len(notes) > MOST:
            raise InputError(f"There are {MOST} notes on this run already.")
        self._write(path, run, log, notes)
        return self._read(path, run, log)

    def remove(self, run: str, log: Path, index: int) -> Notes:
        """Remove one's own note by its place; as `add` otherwise."""
        path = self._path(run, self._key.public)
        before = self._read(path, run, log)
        if before.fault or not 0 <= index < len(before.notes):
            raise InputError("There is no such note of yours.")
        self._write(path, run, log, before.notes[:index] + before.notes[index + 1 :])
        return self._read(path, run, log)

    def _path(self, run: str, public: str) -> Path:
        return self.folder / f"{_safe(run)}.{fingerprint(public).replace(' ', '')}.json"

    def _write(self, path: Path, run: str, log: Path, notes: tuple[TrainerNote, ...]) -> None:
        head = last_entry(log)
        if head is None:
            raise LogError(f"{log} holds no sound record to bind notes to.")
        body: dict[str, object] = {
            "format": FORMAT, "run": run, "record": head.seq, "hash": head.digest, "key": self._key.public,
            "notes": [asdict(note) for note in notes],
        }  # fmt: skip
        try:
            signature = self._key.sign(sha256(canonical(body)).hexdigest())
            self._disk.make_folder(self.folder)
            self._disk.save(path, canonical({**body, "signature": signature}) + b"\n")
        except RecordError as error:
            raise InputError(f"That cannot be written as a note: {error}.") from error
        except OSError as error:
            raise trouble("write the notes", path, error) from error

    def _read(self, path: Path, run: str, log: Path) -> Notes:
        try:
            if path.stat().st_size > _BOUND:
                raise ValueError("too long")
            data = json.loads(path.read_bytes())
            signature, public = str(data.pop("signature")), str(data["key"])
            notes = tuple(_notes(data["notes"]))
            body = canonical(data)
        except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            return Notes(path, "", own=False, notes=(), fault=f"It is no file of notes ({type(error).__name__}).")
        by = fingerprint(public) if re.fullmatch("[0-9a-f]{64}", public) else ""
        fault = ""
        if not by or not signed_by(public, sha256(body).hexdigest(), signature):
            fault = "It was altered after it was signed."
        elif data.get("run") != run:
            fault = "It belongs to another run."
        elif record_hash(log, data.get("record")) != data.get("hash"):
            fault = "The log is not the one the notes were written on: it was changed since."
        return Notes(path, by, public == self._key.public, notes, fault)


def _notes(data: object) -> Iterator[TrainerNote]:
    if not isinstance(data, list):
        raise TypeError("no notes")
    for one in data:
        note = TrainerNote(**one)
        if not (type(note.moment) is int and isinstance(note.wall, str) and isinstance(note.text, str)):
            raise TypeError("no note")
        yield note


def _safe(run: str) -> str:
    """A file name for a run, whatever its log calls it."""
    return re.sub(r"[^A-Za-z0-9-]", "_", run)[:60] + "-" + sha256(run.encode("utf-8", "replace")).hexdigest()[:8]
