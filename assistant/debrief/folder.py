"""The folder a trainer named: which runs are in it, whether each stands up, and each one's timeline."""

from __future__ import annotations

import contextlib
import hashlib
import os
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from assistant.debrief.run_log import PAGE, RunLog, first_entry, last_entry
from assistant.debrief.telling import Telling
from assistant.debrief.timeline import Timeline
from assistant.errors import HitchcallError, InputError, LogError
from assistant.journal.keeping import held
from assistant.journal.reader import LOG
from assistant.journal.records import Opened
from assistant.journal.verify import Verdict, verify
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.resume import changed_files

_QUICK: Final = 4 * 1024 * 1024
"""Bytes of a log that is checked while one waits; a coupling has some 200,000."""

_DEEP: Final = 6
"""How many folders deep runs are looked for: fleet, site, tablet, month, run."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it lies in the folder. ``key`` names it here: two tablets may have given the same name.

    ``opened`` is None when the log has no readable beginning; ``fault`` says why then.
    """

    key: str
    folder: Path
    name: str
    opened: Opened | None
    began: str
    ended: str
    length_ms: int
    fault: str = ""

    @property
    def practice(self) -> bool:
        """Whether it was a practice run."""
        return self.opened is not None and "practice" in self.opened.notes

    @property
    def crew(self) -> str:
        """Who worked: "alone" or "mate"."""
        notes = self.opened.notes if self.opened else ()
        return next((note.removeprefix("crew: ") for note in notes if note.startswith("crew: ")), "alone")


@dataclass
class Folder:
    """The runs under a folder. ``own`` is a yard's own folder of procedures, ``keys`` the tablets' public keys.

    ``places`` maps a run's key to its folder; a run is read when it is asked for, ``part`` moments at a
    time. One lock guards all folding, because the engine of a procedure has one seat. Raises InputError
    when there is no log at all.
    """

    path: Path
    own: Path | None = None
    keys: tuple[str, ...] = ()
    places: dict[str, Path] = field(default_factory=dict)
    part: int = PAGE

    def __post_init__(self) -> None:
        self.lock = threading.RLock()
        self._runs: dict[str, tuple[object, Run]] = {}
        self._logs: dict[str, tuple[object, RunLog, str]] = {}
        self._verdicts: dict[str, tuple[object, Verdict | str]] = {}
        self._checking: set[str] = set()
        self._prepared: dict[tuple[str, ...], Prepared | str] = {}
        if not self.path.is_dir():
            raise InputError(f"{self.path} is no folder; name the folder that holds the runs.")
        for place in _logs(self.path):
            self.know(place)
        if not self.places:
            raise InputError(f"{self.path} holds no log ({LOG}); name the folder that holds the runs.")

    def know(self, place: Path) -> str:
        """Take a run's folder into account and return its key."""
        key = hashlib.sha256(os.fsencode(place.absolute())).hexdigest()[:12]
        self.places[key] = place
        return key

    def get(self, key: str) -> Run:
        """Return a run by its key; InputError when there is none."""
        place = self.places.get(key)
        if place is None:
            raise InputError("There is no such run in the folder.")
        stamp = _stamp(place)
        if key not in self._runs or self._runs[key][0] != stamp:
            self._runs[key] = stamp, _run(key, place)
        return self._runs[key][1]

    def all(self) -> Iterator[Run]:
        """Yield every run, by folder."""
        for key in list(self.places):
            yield self.get(key)

    def named(self, name: str) -> Run:
        """Return a run by its name or a unique beginning of it; InputError otherwise."""
        found = [key for key, place in self.places.items() if place.name == name]
        found = found or [key for key, place in self.places.items() if name and place.name.startswith(name)]
        found = found or [run.key for run in self.all() if run.name == name]
        if len(found) == 1:
            return self.get(found[0])
        what = f"names {len(found)} runs" if found else "names no run"
        raise InputError(f'"{name}" {what} in {self.path}; name one of its folders whole.')

    def verdict(self, run: Run) -> Verdict | str:
        """Return what the check of a run's log comes to, or why it cannot be checked at all."""
        stamp = _stamp(run.folder)
        known = self._verdicts.get(run.key)
        if known is None or known[0] != stamp:
            public = run.opened.key if run.opened and run.opened.key in self.keys else next(iter(self.keys), "")
            try:
                told: Verdict | str = verify(run.folder, public=public)
            except LogError as error:
                told = str(error)
            known = self._verdicts[run.key] = stamp, told
        return known[1]

    def checked(self, run: Run) -> Verdict | str | None:
        """As `verdict`, but None while a log that takes long is still being checked elsewhere."""
        known = self._verdicts.get(run.key)
        if known is not None and known[0] == _stamp(run.folder):
            return known[1]
        if _size(run.folder) <= _QUICK:
            return self.verdict(run)
        if run.key not in self._checking:
            self._checking.add(run.key)
            threading.Thread(target=self._check, args=(run,), name="check", daemon=True).start()
        return None

    def _check(self, run: Run) -> None:
        try:
            self.verdict(run)
        finally:
            self._checking.discard(run.key)

    def log(self, run: Run) -> tuple[RunLog, str]:
        """Return a run's timeline by pages, and what its reader must know of its words ("" when nothing)."""
        stamp = _stamp(run.folder)
        known = self._logs.get(run.key)
        if known is None or known[0] != stamp:
            telling, exact, told = self._telling(run)
            log = RunLog(run.folder, lambda: Timeline.begin(telling, exact=exact), size=self.part)
            known = self._logs[run.key] = stamp, log, told
        verdict = self.checked(run)
        if isinstance(verdict, Verdict):
            known[1].bad.update({one.line: one.what for one in verdict.findings})
        return known[1], known[2]

    def warm(self) -> None:
        """Load what the first run opened will need, elsewhere, so that nobody waits for it."""

        def load() -> None:
            with self.lock, contextlib.suppress(HitchcallError):
                run = self.get(next(iter(self.places)))
                self.log(run)[0].page(0)

        threading.Thread(target=load, name="warm", daemon=True).start()

    def telling(self, run: Run) -> Telling:
        """Return the words of a run."""
        return self._telling(run)[0]

    def _telling(self, run: Run) -> tuple[Telling, bool, str]:
        """Return a run's words, whether its files are the very ones it was made with, and what to say of that."""
        if run.opened is None:
            return Telling(), False, "The log has no readable beginning, so steps and facts have no words."
        ready = self._prepare(run.opened, run.crew)
        if isinstance(ready, str):
            return Telling(), False, f"The procedure's files are not here, so ids stand for its words. {ready}"
        differ = changed_files(ready, run.opened.files)
        if differ:
            told = f"The run was made with other files ({', '.join(differ[:4])}{' …' if len(differ) > 4 else ''})"
            return Telling(ready), False, f"{told}: wordings and sources are today's, facts are as the log wrote them."
        return Telling(ready), True, ""

    def _prepare(self, opened: Opened, crew: str) -> Prepared | str:
        """Load a run's procedure, once a setting; the reason where it cannot be."""
        setting = (opened.procedure, opened.rig, opened.site, crew, opened.lang)
        if setting not in self._prepared:
            try:
                self._prepared[setting] = prepare(
                    library(self.own), grammars(self.own), opened.procedure,
                    rig=opened.rig, site=opened.site, crew=crew, lang=opened.lang,
                )  # fmt: skip
            except HitchcallError as error:
                self._prepared[setting] = str(error).splitlines()[0]
        return self._prepared[setting]


def _logs(path: Path) -> Iterator[Path]:
    """Yield the run folders under a folder, by name; links are not followed."""
    if (path / LOG).is_file():
        yield path
        return
    for base, folders, files in os.walk(path):
        folders.sort()
        if LOG in files:
            folders.clear()
            yield Path(base)
        if len(Path(base).relative_to(path).parts) >= _DEEP:
            folders.clear()


def _run(key: str, folder: Path) -> Run:
    try:
        first = first_entry(folder)
        opened = first.record if isinstance(first.record, Opened) else None
        fault = "" if opened else f"{folder / LOG}, line 1: a log begins with a record “opened”."
    except (LogError, ValueError) as error:
        return Run(key, folder, folder.name, None, "", "", 0, str(error))
    last = last_entry(folder) or first
    return Run(key, folder, opened.run if opened else folder.name, opened, first.wall, last.wall, last.mono, fault)


def _stamp(folder: Path) -> Sequence[object]:
    """What changes when a log or its words do."""
    found: list[object] = []
    for name in (LOG, "words.jsonl"):
        try:
            facts = (folder / name).stat()
            found += [facts.st_size, facts.st_mtime_ns]
        except OSError:
            found.append(None)
    return found


def _size(folder: Path) -> int:
    try:
        return (folder / LOG).stat().st_size
    except OSError:
        return 0


def hold_of(run: Run) -> str:
    """Return why a run is held whatever its age, "" when it is not."""
    return held(run.folder)
