"""What `benchmarks/fleet.py` measures: intake beside a bare load of the same rows, questions of pages, one run."""

from __future__ import annotations

import json
import resource
import statistics
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from assistant.debrief.asked import Asked
from assistant.debrief.folder import Folder
from assistant.debrief.many import Many
from assistant.debrief.notes import NoteBook
from assistant.debrief.server import Debrief
from assistant.debrief.sound import Sounds
from assistant.debrief.views import VIEWS, Views
from assistant.fleet.bulk import PARTS, load
from assistant.fleet.filters import EVERYTHING, Filter
from assistant.fleet.intake import take_in
from assistant.fleet.schema import Run, Tablet
from assistant.fleet.store import Store
from assistant.journal.keys import signing_key

LOADED = (Run, *PARTS)
AGAIN = 5


def cpu() -> float:
    """Return the processor seconds of this program and of its children that have ended."""
    told = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in told)


def timed(work: Callable[[], Any]) -> tuple[float, float, Any]:
    """Return how long something took, its processor seconds, and what it gave."""
    began, before = time.perf_counter(), cpu()
    given = work()
    return time.perf_counter() - began, cpu() - before, given


def intake(place: str, folders: list[Path], bare_place: str) -> dict[str, float]:
    """Take in the last of ``folders`` (the others are known), then load its rows alone into another store.

    The bare load gets the rows ready-made, in memory, and commits once: nothing is found, read, verified,
    looked up or tallied. The figures are up to date at the end of the intake.
    """
    with Store(place) as store, Store(bare_place) as bare:
        before = _newest(store)
        took, busy, taken = timed(lambda: take_in(store, folders))
        rows = {table: list(_rows(store, table, before)) for table in LOADED}
        with bare.writing() as connection:
            have = set(connection.scalars(sa.select(Tablet.id)))
            with store.reading() as other:
                tablets = [tuple(row) for row in other.execute(sa.select(Tablet.__table__)) if row.id not in have]
            if tablets:
                names = ("id", "key", "name")
                connection.execute(sa.insert(Tablet), [dict(zip(names, one, strict=True)) for one in tablets])
        bare_took, bare_busy, _ = timed(lambda: _load(bare, rows))
    return {
        "runs": taken.new, "known": taken.unchanged, "rows": sum(map(len, rows.values())),
        "seconds": took, "cpu_seconds": busy, "bare_seconds": bare_took, "bare_cpu_seconds": bare_busy,
    }  # fmt: skip


def _newest(store: Store) -> int:
    with store.reading() as connection:
        return connection.scalar(sa.select(sa.func.max(Run.id))) or 0


def _rows(store: Store, table: Any, after: int) -> Iterator[tuple[Any, ...]]:
    number = Run.id if table is Run else table.run_id
    with store.reading() as connection:
        yield from map(tuple, connection.execute(sa.select(table.__table__).where(number > after)))


def _load(store: Store, rows: dict[Any, list[tuple[Any, ...]]]) -> None:
    with store.writing() as connection:
        for table, some in rows.items():
            load(connection, table, some)


class Counting:
    """A store that notes how long each question took."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.seconds: list[float] = []

    def frame(self, told: Any, given: Any = None) -> Any:
        """Ask the store."""
        took, _, found = timed(lambda: self._store.frame(told, given))
        self.seconds.append(took)
        return found


def pages(place: str) -> dict[str, dict[str, float]]:
    """Return for every view, and for the list of runs, how long its questions take together: p50 and p95, ms."""
    told: dict[str, list[float]] = {}
    with Store(place) as store:
        asked = Counting(store)
        views = Views(asked)
        for chosen in _filters(views):
            for name in (*VIEWS, "runs", "choices"):
                for _ in range(AGAIN):
                    asked.seconds.clear()
                    _show(views, name, chosen)
                    told.setdefault(name, []).append(1000 * sum(asked.seconds))
    return {name: {"p50_ms": statistics.median(times), "p95_ms": _p95(times)} for name, times in told.items()}


def _filters(views: Views) -> list[Filter]:
    choices = views.choices()
    site, month, procedure, rig = (choices[name][0] for name in ("site", "month", "procedure", "rig"))
    return [
        EVERYTHING, Filter(site=site), Filter(first_month=month, last_month=month), Filter(procedure=procedure),
        Filter(rig=rig, site=site), Filter(practice=None),
    ]  # fmt: skip


def _show(views: Views, name: str, chosen: Filter) -> None:
    if name == "runs":
        views.runs(chosen)
    elif name == "choices":
        views.choices()
    else:
        views.show(name, Asked(chosen, by_person=name == "person", call_sign="quarry one" if name == "person" else ""))


def _p95(times: list[float]) -> float:
    return sorted(times)[int(0.95 * (len(times) - 1) + 0.5)]


def one_run(folder: Path, place: str, home: Path) -> dict[str, float]:
    """Return how long the first run's page takes when it is the first thing asked, and others after it, in ms.

    Asked as the page asks, by HTTP, of the real server over ``folder``; the drawing in the browser is not in it.
    """
    with Store(place) as store:
        runs = Folder(folder)
        book = NoteBook(home / "notes", signing_key(home / "keys", "trainer"))
        page = Debrief(runs, book, Sounds(home / "voice"), 0, Many(runs, Views(store)))
        page.start()
        try:
            token = page.address.rpartition("#")[2]
            keys = list(runs.places)
            step = max(1, len(keys) // 20)
            first, rest = keys[0], keys[step::step][:20]
            times = [1000 * _ask(page.port, token, f"/api/run?run={key}") for key in (first, *rest)]
        finally:
            page.close()
    return {"first_ms": times[0], "p50_ms": statistics.median(times[1:]), "p95_ms": _p95(times[1:])}


def _ask(port: int, token: str, way: str) -> float:
    asked = urllib.request.Request(f"http://127.0.0.1:{port}{way}", headers={"Authorization": f"Bearer {token}"})
    began = time.perf_counter()
    with urllib.request.urlopen(asked, timeout=60) as answer:  # noqa: S310 - its own address
        json.loads(answer.read())
    return time.perf_counter() - began


_ALONE = """
import re, sys
from pathlib import Path
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store
def most():  # what getrusage tells is the parent's until a child has been larger
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1])
began = most()
with Store(sys.argv[2]) as store:
    assert take_in(store, [Path(sys.argv[1])], workers=1).new == 1
print(began, most())
"""


def large(log: Path, place: str) -> dict[str, float]:
    """Take in one very long log in a fresh process: its bytes, seconds, the program's own memory, and the most."""
    began = time.perf_counter()
    told = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", _ALONE, str(log.parent), place],
        capture_output=True, text=True, check=True, timeout=3600,
    ).stdout.split()  # fmt: skip
    took = time.perf_counter() - began
    own, most = (int(one) / 1024 for one in told)
    return {"bytes": log.stat().st_size, "seconds": took, "own_mib": own, "peak_mib": most}
