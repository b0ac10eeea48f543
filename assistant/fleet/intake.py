"""Taking runs in from folders: each file verified by other processes, each run written by this one.

Every batch of whole runs is one transaction, so that a database that goes away, or a program that is
killed, loses nothing and counts nothing twice: taken in again, what is there is known and the rest follows.
"""

from __future__ import annotations

import gc
import os
from collections import Counter, deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import chain, islice
from multiprocessing import get_context
from pathlib import Path

import sqlalchemy as sa

from assistant.errors import InputError, LogError
from assistant.fleet.examine import (
    PASSING,
    UNREADABLE,
    Examined,
    FoundFiles,
    Mark,
    Reason,
    as_text,
    digest_of,
    examine_all,
    files_under,
    rows_of_large,
)
from assistant.fleet.refresh import catch_up, look_again
from assistant.fleet.rows import unpacked
from assistant.fleet.schema import Quarantine, Run
from assistant.fleet.store import Store
from assistant.fleet.write import Fate, Writing
from assistant.journal.clock import SystemClocks
from assistant.journal.keys import read_public

_SOME = 16
"""Files that a worker looks at in one go."""
_FEW = 24
"""As many are looked at sooner than a worker has started."""
_AHEAD = 64
"""Goes that each worker may be ahead of the writing, so that none waits while a transaction ends: 15 MB each."""
_BATCH = 16384
"""Files in one transaction: some half a minute's work, and the more, the fewer counts are touched again and again."""
_ALLOCATED = 200_000
"""Objects between two looks for rings."""
_ASKED = 256
"""Files of which the store is asked at once."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far an intake is: files ``done`` of ``of``; ``path`` was the last, None while figures are brought up."""

    done: int
    of: int
    path: Path | None


@dataclass(frozen=True, slots=True)
class Taken:
    """What an intake came to, in files.

    ``new`` runs, ``longer`` copies of runs that grew, ``known`` ones, ``unchanged`` files that were taken in
    before and not looked at again, ``quarantined`` ones, and ``busy`` ones that were being written.
    """

    new: int = 0
    longer: int = 0
    known: int = 0
    unchanged: int = 0
    quarantined: int = 0
    busy: int = 0


@dataclass
class _Job:
    """An intake under way."""

    store: Store
    names: Mapping[str, str] | None
    now_ms: int
    total: int
    tell: Callable[[Progress], None]
    count: Counter[str] = field(default_factory=Counter)
    done: int = 0


def take_in(
    store: Store,
    folders: Sequence[Path],
    *,
    progress: Callable[[Progress], None] = lambda _: None,
    tablets: Path | None = None,
    workers: int | None = None,
) -> Taken:
    """Take all runs under ``folders`` into the store; what cannot be counted goes into its quarantine.

    ``tablets`` is a folder of public keys NAME.pub; with it, runs of other tablets are quarantined. ``workers``
    is how many processes verify (None: one for each processor, 1: only this one). The figures are up to date
    when it returns. Raises `InputError` for a folder or key that cannot be read, `LogError` when the database
    goes away; then everything committed stays, and the same call goes on from there.
    """
    missing = [str(folder) for folder in folders if not folder.is_dir()]
    if missing:
        raise InputError(f"There is no folder {as_text(', '.join(missing))}; name folders of runs.")
    for folder in folders:
        if (shown := as_text(str(folder.resolve()))) != str(folder.resolve()):
            raise InputError(f"The name of the folder {shown} is no text that can be kept; rename it.")
    names = None if tablets is None else known_tablets(tablets)
    catch_up(store)
    files = _files(folders)
    job = _Job(store, names, SystemClocks().wall(), len(files.logs), progress)
    logs = _changed(job, files.logs)
    looked_at = chain(_unlogged(files), _examined(logs, names, job.now_ms, workers or os.cpu_count() or 1))
    with _few_collections():
        for first in looked_at:
            _write(job, chain([first], islice(looked_at, _BATCH - 1)))
    job.tell(Progress(job.done, job.total, None))
    catch_up(store)
    if job.count[Fate.NEW] + job.count[Fate.LONGER]:
        look_again(store)
    return Taken(**{name: job.count[name] for name in Taken.__dataclass_fields__})


def known_tablets(folder: Path) -> dict[str, str]:
    """Return the public keys in a folder (64 hex digits) with the names of their files; InputError if faulty."""
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder} of tablets' keys.")
    return {read_public(path): path.stem for path in sorted(folder.rglob("*.pub"))}


def _files(folders: Sequence[Path]) -> FoundFiles:
    """Find the files of all folders, each once though folders may overlap, in the order of their names."""
    logs: dict[str, Mark] = {}
    others: set[str] = set()
    closed: set[str] = set()
    unnamed: set[str] = set()
    for folder in folders:
        found = files_under(folder.resolve())
        unnamed.update(found.unnamed)
        logs.update((mark[0], mark) for mark in found.logs)
        others.update(found.others)
        closed.update(found.closed)
    return FoundFiles([logs[path] for path in sorted(logs)], sorted(others), sorted(closed), sorted(unnamed))


def _changed(job: _Job, logs: list[Mark]) -> list[Path]:
    """Leave out the files that the store has seen just as they are."""
    with job.store.reading() as connection:
        runs = connection.execute(sa.select(Run.source, Run.source_size, Run.source_mtime_ns))
        seen = set(map(tuple, runs))
        # A foreign tablet's key may be known by now, and what could not be read may be readable: looked at again.
        held = connection.execute(
            sa.select(Quarantine.path, Quarantine.size, Quarantine.mtime_ns).where(Quarantine.reason.not_in(PASSING))
        )
        quarantined = {tuple(row) for row in held if row[2]}
    changed = []
    for mark in logs:
        if mark in quarantined:
            job.count["quarantined"] += 1
        elif mark in seen:
            job.count["unchanged"] += 1
        else:
            changed.append(Path(mark[0]))
    job.done = len(logs) - len(changed)
    return changed


def _unlogged(files: FoundFiles) -> Iterator[Examined]:
    for path in map(Path, files.others):
        what = f"{path} is no log and lies in no run's folder: it was not looked into."
        yield Examined(path, why=Reason("unknown", 0, what, digest=digest_of(path) if path.is_file() else ""))
    for path in map(Path, files.closed):
        yield Examined(path, why=Reason(UNREADABLE, 0, f"The folder {path} cannot be entered: ask for the right to."))
    for path in map(Path, files.unnamed):
        what = f"The name of {path} is no text that can be kept: rename it, and take it in again."
        yield Examined(path, why=Reason(UNREADABLE, 0, what))


def _examined(logs: list[Path], names: Mapping[str, str] | None, now_ms: int, workers: int) -> Iterator[Examined]:
    """Look at files in several processes at once; yields in order, a few tasks ahead at most."""
    tasks = iter([logs[at : at + _SOME] for at in range(0, len(logs), _SOME)])
    if workers < 2 or len(logs) <= _FEW:
        for some in tasks:
            yield from examine_all(some, names, now_ms)
        return
    # Not forked: this process may have threads, and a fork copies their locks as they stand.
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=gc.disable) as pool:
        ahead: deque[Future[list[Examined]]] = deque()
        try:
            for some in tasks:
                ahead.append(pool.submit(examine_all, some, names, now_ms))
                if len(ahead) > _AHEAD * workers:
                    yield from ahead.popleft().result()
            while ahead:
                yield from ahead.popleft().result()
        except BrokenProcessPool as error:
            raise LogError(
                "A process that verified logs was ended by the system: free some memory, and go on."
            ) from error
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


@contextmanager
def _few_collections() -> Iterator[None]:
    """Look for rings of objects less often: among the rows of some thousand runs there are none to be found."""
    usual = gc.get_threshold()
    gc.set_threshold(_ALLOCATED, *usual[1:])
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _write(job: _Job, batch: Iterator[Examined]) -> None:
    """Write a batch in one transaction."""
    fates: Counter[str] = Counter()
    with job.store.writing() as connection:
        writing = Writing(connection, job.names or {}, job.now_ms)
        while some := list(islice(batch, _ASKED)):
            writing.look_up(found.facts for found in some if found.facts is not None)
            for found in some:
                fates[_fate(writing, found)] += 1
                job.done = min(job.done + 1, job.total)
                job.tell(Progress(job.done, job.total, found.path))
        writing.close()
    job.count.update(fates)


def _fate(writing: Writing, found: Examined) -> str:
    if found.busy:
        return "busy"
    if found.why is not None:
        writing.quarantine(found, found.why)
        return Fate.QUARANTINED
    assert found.facts is not None  # noqa: S101 - a file that was read has facts
    if found.rows is None:
        return writing.put(found, found.facts, rows_of_large(found.path, found.facts.records))
    return writing.put(found, found.facts, (unpacked(found.rows),))
