"""A database, or the program, that goes away in the middle of an intake: the next one goes on from there."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Callable
from pathlib import Path

import pytest
from made_runs import Made

from assistant.errors import LogError
from assistant.fleet import adding, figures, intake, refresh
from assistant.fleet.filters import Filter, Mask
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared
from tests.fleet.cluster import Cluster
from tests.fleet.contents import contents

RUNS, BATCH = 9, 3
EVERY = (Filter(), Mask(0, 0))


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory, tablets: dict[str, TabletKey], couple: Prepared) -> Path:
    """Nine runs."""
    folder = tmp_path_factory.mktemp("logs")
    for number in range(RUNS):
        made = Made(folder, tablets["one"], couple, run=f"run-{number}")
        for _ in range(2 + number % 3):
            made.good()
        made.say("pulling-away")
        made.writer.close()
    return folder


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three runs a transaction, so that there are some before and some after."""
    monkeypatch.setattr(intake, "_BATCH", BATCH)


def at_run(number: int, then: Callable[[], None], monkeypatch: pytest.MonkeyPatch) -> None:
    """Let something happen when that many runs have been handed over to be written."""
    real, count = intake._fate, iter(range(1, 1000))

    def fate(*told: object) -> str:
        if next(count) == number:
            then()
        return real(*told)  # type: ignore[arg-type]

    monkeypatch.setattr(intake, "_fate", fate)


def alike(logs: Path, tmp_path: Path) -> object:
    """What a store holds that was left in peace."""
    with Store(tmp_path / f"{logs.name}.sqlite") as store:
        take_in(store, [logs], workers=1)
        return contents(store)


@pytest.mark.parametrize("number", [1, 5, 9])
def test_postgresql_crashes_in_the_middle(
    logs: Path, cluster: Cluster, tmp_path: Path, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: the server goes down amid a load; runs are lost, or counted twice when the load is tried again."""
    with Store(cluster.address()) as store:
        with monkeypatch.context() as patch:
            at_run(number, cluster.crash, patch)
            try:
                with pytest.raises(LogError, match="does not answer"):
                    take_in(store, [logs], workers=1)
            finally:
                cluster.start()
        kept = BATCH * ((number - 1) // BATCH)
        assert len(contents(store)["run"]) == kept
        told = take_in(store, [logs], workers=1)
        assert (told.new, told.unchanged) == (RUNS - kept, kept)
        assert contents(store) == alike(logs, tmp_path)


def test_figures_come_again_after_a_crash(logs: Path, cluster: Cluster) -> None:
    """Promise: the page that was open while the server was down shows figures again when it is back."""
    with Store(cluster.address()) as store:
        take_in(store, [logs], workers=1)
        before = figures.refusals(store, *EVERY)
        cluster.crash()
        try:
            with pytest.raises(LogError, match="does not answer"):
                figures.refusals(store, *EVERY)
        finally:
            cluster.start()
        assert figures.refusals(store, *EVERY).equals(before)
        assert int(before["refusals"].sum()) == RUNS


def die(*_: object, **__: object) -> None:
    """End this program without a word."""
    os.kill(os.getpid(), signal.SIGKILL)


def killed(place: Path, logs: Path, prepared: Callable[[], None]) -> None:
    """Let another program take the logs in, which dies where ``prepared`` has seen to it."""
    child = os.fork()
    if not child:
        try:
            prepared()
            take_in(Store(place), [logs], workers=1)
        finally:
            os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL


@pytest.mark.parametrize("where", ["amid the runs", "while they are counted"])
def test_a_program_killed_in_the_middle(
    logs: Path, tmp_path: Path, where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: the trainer's machine loses power amid a load into SQLite: runs lost, or in the list and in no figure."""
    place = tmp_path / "fleet.sqlite"

    def prepared() -> None:
        if where == "amid the runs":
            at_run(5, die, monkeypatch)
        else:
            real, count = adding._add, iter(range(100))
            monkeypatch.setattr(adding, "_add", lambda *told: die() if next(count) == 1 else real(*told))

    killed(place, logs, prepared)
    first = tmp_path / "first"
    for name in sorted(path.name for path in logs.iterdir())[:BATCH]:
        shutil.copytree(logs / name, first / name)
    with Store(place) as store:
        assert contents(store) == alike(first, tmp_path)
        told = take_in(store, [logs], workers=1)
        assert (told.new, told.unchanged) == (RUNS - BATCH, BATCH)
        assert contents(store) == alike(logs, tmp_path)


def test_killed_while_a_month_is_worked_out_anew(logs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hazard: a run has grown, its month's figures are taken away, and the power fails: the month stays empty."""
    place, young = tmp_path / "fleet.sqlite", tmp_path / "young" / "run-0"
    shutil.copytree(logs / "run-0", young)
    lines = (young / "log.jsonl").read_bytes().splitlines(keepends=True)
    (young / "log.jsonl").write_bytes(b"".join(lines[:-1]))
    with Store(place) as store:
        take_in(store, [young], workers=1)
    killed(place, logs, lambda: monkeypatch.setattr(refresh, "_fillings", die))
    with Store(place) as store:
        assert contents(store) != alike(logs, tmp_path)
        assert take_in(store, [logs], workers=1).unchanged == RUNS
        assert contents(store) == alike(logs, tmp_path)
