"""One file looked at: verified, and read as rows, or told why it cannot be counted.

Runs in worker processes, so nothing here knows of the database or of large libraries.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import orjson

from assistant.errors import LogError
from assistant.fleet.rows import ODD, Columns, Facts, RunReader, packed
from assistant.journal.beside import Beside
from assistant.journal.chain import MAX_LINE, VERSION
from assistant.journal.keys import fingerprint
from assistant.journal.reader import LOG
from assistant.journal.verify import State, Verdict, verify
from assistant.journal.walk import Walk, walking
from assistant.journal.words import FILE as WORDS

FOREIGN = "foreign"
"""Why a sound log is not counted when its tablet's key is not known."""

UNREADABLE = "unreadable"
"""Why a file is not counted that the system does not let be read, or whose name no store can keep."""

PASSING = (FOREIGN, UNREADABLE)
"""Reasons that may go away while the file stays as it is: a key is learnt, a right given, a share comes back."""

LARGE = 32 << 20
"""A log of more bytes is not read as rows here but by who writes them, a part at a time."""

_TRIES = 3
_TOLD = 3


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a file is not counted: a word for programs, the line (0: the whole file), a sentence, the run if known."""

    reason: str
    line: int
    what: str
    run: str = ""
    digest: str = ""


@dataclass(slots=True)
class Examined:
    """What looking at a file came to: ``why`` it cannot be counted, or ``facts`` and ``rows`` of a run.

    ``rows`` are `packed`, None for a `LARGE` log. ``busy`` is set when the file changed while it was
    looked at.
    """

    path: Path
    size: int = 0
    mtime_ns: int = 0
    why: Reason | None = None
    busy: bool = False
    facts: Facts | None = None
    rows: bytes | None = None


def examine_all(paths: list[Path], tablets: Mapping[str, str] | None, now_ms: int) -> list[Examined]:
    """Look at several files, one after the other."""
    return [examine(path, tablets, now_ms) for path in paths]


def examine(path: Path, tablets: Mapping[str, str] | None, now_ms: int) -> Examined:
    """Look at a file. ``tablets`` are the keys that may have signed it (key to name); None takes every key."""
    found = Examined(path)
    for _ in range(_TRIES):
        found = Examined(path)
        try:
            before = path.stat()
            if not stat.S_ISREG(before.st_mode):
                found.why = Reason("unknown", 0, f"{path} is no ordinary file.")
                return found
            found.size, found.mtime_ns = before.st_size, before.st_mtime_ns
            _look(found, tablets, now_ms)
            after = path.stat()
        except OSError as error:
            found.why = Reason(UNREADABLE, 0, f"{path} cannot be read: {(error.strerror or str(error)).lower()}.")
            return found
        if (before.st_size, before.st_mtime_ns) == (after.st_size, after.st_mtime_ns):
            return found
    found.busy, found.why = True, None
    return found


def _look(found: Examined, tablets: Mapping[str, str] | None, now_ms: int) -> None:
    path = found.path
    if not found.size:
        found.why = Reason("not-a-log", 0, f"{path} is empty: a run that was never begun, or a copy that failed.")
        return
    large = found.size > LARGE
    reader = RunReader(now_ms, facts_only=large)
    try:
        verdict = verify(path, taker=reader)
    except LogError as error:
        found.why = _no_log(path, error)
        return
    if verdict.state is State.BROKEN:
        found.why = _broken(path, verdict)
    elif tablets is not None and reader.key not in tablets:
        what = f"{path} is signed by the tablet {fingerprint(reader.key)}, whose key is not among the known ones."
        found.why = Reason(FOREIGN, 0, what, verdict.run, digest_of(path))
    else:
        found.why = _taken_apart(found, reader, verdict, large=large)


def _taken_apart(found: Examined, reader: RunReader, verdict: Verdict, *, large: bool) -> Reason | None:
    """Note what a sound log holds; return why it cannot be counted, if so."""
    reader.finish()
    if reader.failed is None:
        rows = reader.drain()
        found.rows = None if large else packed(rows.columns())
        found.facts = reader.facts(sealed=verdict.state is State.WHOLE)
        return None
    line, error = reader.failed
    what = (
        f"{found.path}, line {line}: the log verifies, but this line holds what this program cannot read "
        f"({type(error).__name__}); it may be from a newer version."
    )
    return Reason("not-understood", line, what, verdict.run, digest_of(found.path))


def rows_of_large(path: Path, upto: int) -> Iterator[Columns]:
    """Yield the rows of a sound log's first ``upto`` records, a part at a time, verified once more on the way.

    Raises `LogError` when the log does not hold them any more.
    """
    reader, seen = RunReader(0, upto=upto), Walk()
    for _ in walking(path, Beside(path.parent), reader, seen):
        yield reader.drain().columns()
    if seen.records < upto:
        raise LogError(f"{path} was changed while it was taken in: take it in again.")
    reader.finish()
    yield reader.drain().columns()


def _broken(path: Path, verdict: Verdict) -> Reason:
    found = verdict.findings
    told = " ".join(finding.what for finding in found[:_TOLD])
    more = f" And {len(found) - _TOLD} faults more." if len(found) > _TOLD else ""
    return Reason(found[0].wrong.value, found[0].line, f"{path}: {told}{more}", verdict.run, digest_of(path))


def _no_log(path: Path, error: LogError) -> Reason:
    """Return why nothing in a file is a record: it cannot be read, another program wrote it, or it is no log."""
    digest = digest_of(path)
    if isinstance(error.__cause__, OSError):
        return Reason(UNREADABLE, 0, str(error), digest=digest)
    try:
        told = orjson.loads(_first_line(path))
        version = told["v"] if isinstance(told["data"], dict) else None
    except ODD:
        version = None
    if isinstance(version, int) and version != VERSION:
        what = (
            f"{path} is a log of version {version}, and this program reads version {VERSION}: take it in with the "
            "program that wrote it."
        )
        return Reason("version", 1, what, digest=digest)
    return Reason("not-a-log", 0, str(error), digest=digest)


def _first_line(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.readline(MAX_LINE + 1).rstrip(b"\n")


def digest_of(path: Path) -> str:
    """Return a file's SHA-256, "" when it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


Mark = tuple[str, int, int]
"""A file as it stands: its path, its size in bytes and when it was changed (ns; both -1 when it cannot be told)."""


@dataclass
class FoundFiles:
    """What lies under a folder: files that may be logs, files of no run, folders that cannot be entered.

    ``unnamed`` are files and folders whose names are no text, as they can be shown.
    """

    logs: list[Mark] = field(default_factory=list)
    others: list[str] = field(default_factory=list)
    closed: list[str] = field(default_factory=list)
    unnamed: list[str] = field(default_factory=list)


def files_under(folder: Path) -> FoundFiles:
    """Find what may be a log under ``folder``, in no order.

    What lies in a run's folder belongs to the run; names that begin with a dot are nobody's. Plain text and one
    look at each file: most of a folder that is taken in day by day is known, and costs nothing but this.
    """
    found, todo = FoundFiles(), [str(folder)]
    while todo:
        place = todo.pop()
        try:
            with os.scandir(place) as entries:
                inside = list(entries)
        except OSError:
            found.closed.append(place)
            continue
        folders: list[os.DirEntry[str]] = []
        files: list[os.DirEntry[str]] = []
        for one in inside:
            (folders if _is_folder(one) else files).append(one)
        of_run = any(one.name == LOG for one in files)
        for one in files:
            log = one.name.endswith(".jsonl") and one.name != WORDS
            if not log and (of_run or one.name.startswith(".")):
                continue
            if (shown := as_text(one.path)) != one.path:
                found.unnamed.append(shown)
            elif log:
                found.logs.append(_mark(one))
            else:
                found.others.append(one.path)
        for one in () if of_run else folders:
            if not one.name.startswith(".") and not _is_link(one):
                shown = as_text(one.path)
                (todo if shown == one.path else found.unnamed).append(shown)
    return found


def as_text(path: str) -> str:
    """Return a path as it can be written down: a byte of its name that is no text by its number."""
    return path if path.isascii() else os.fsencode(path).decode("utf-8", "backslashreplace")


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _is_link(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_symlink()
    except OSError:
        return True


def _mark(entry: os.DirEntry[str]) -> Mark:
    try:
        told = entry.stat()
    except OSError:
        return entry.path, -1, -1  # looked at later, where it is told why it cannot be read
    return entry.path, told.st_size, told.st_mtime_ns
