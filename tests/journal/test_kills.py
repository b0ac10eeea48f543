"""Kill -9 against the real program, at random moments and after every record; counts are printed."""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from assistant.journal import anchor
from assistant.journal.fold import inputs
from assistant.journal.keys import PUBLIC, read_public, tablet_key
from assistant.journal.reader import LOG
from assistant.journal.verify import State, verify

KILLS = int(os.environ.get("HITCHCALL_KILLS", "500"))  # five for each write of the run; more when measured
ROOT = Path(__file__).parents[2]
COMMAND = (sys.executable, "-m", "tests.journal.real_runs")
SERVERS = 2
TAKEN = {"accepted", "read-back"}
ASKING = {"asking", "looking", "confirming"}

Row = dict[str, object]


class Runs:
    """One server of real runs, and the tablet they run on."""

    def __init__(self, process: subprocess.Popen[str], keys: Path) -> None:
        self._process = process
        self._keys = keys

    def run(self, logs: Path, **more: object) -> list[Row]:
        """Start a run and return all that it prints; the line amid which it was killed is none."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps({"logs": str(logs), "keys": str(self._keys), **more}) + "\n")
        self._process.stdin.flush()
        rows: list[Row] = []
        while not rows or "gone" not in rows[-1]:
            line = self._process.stdout.readline()
            assert line, "the server of runs has ended"
            with suppress(ValueError):
                rows.append(json.loads(line))
        return rows


@contextmanager
def servers(keys: Path) -> Iterator[list[Runs]]:
    """Servers that work side by side."""
    with ExitStack() as stack:
        runs = []
        for _ in range(SERVERS):
            process = stack.enter_context(
                subprocess.Popen(COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT)
            )
            runs.append(Runs(process, keys))
        yield runs
        for one in runs:
            one._process.stdin.close()  # type: ignore[union-attr]


@pytest.fixture
def keys(fast: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The tablet's key folder, and codes as cheap as the servers have them."""
    monkeypatch.setattr(anchor, "_WORK", 2)
    tablet_key(fast / "tablet-keys")
    return fast / "tablet-keys"


def told(rows: list[Row]) -> list[tuple[object, object, object]]:
    """Return the decisions that the driver was told of: kind, reason, phrase heard."""
    return [(row["kind"], row["reason"], _phrase(row["heard"])) for row in rows if "kind" in row]


def logged(folder: Path) -> list[tuple[object, object, object]]:
    """Return the decisions in a log, in the same form."""
    return [(one.decision["kind"], one.decision["reason"], one.event.get("phrase")) for one in inputs(folder)]


def _phrase(heard: object) -> object:
    return heard["phrase"] if isinstance(heard, dict) else None


@dataclass(frozen=True)
class Killed:
    """What is found out about one killed run."""

    accepted: int = 0
    lost: int = 0
    stuck: int = 0
    broken: int = 0
    torn: int = 0
    stood: str = "not begun"

    def counts(self) -> Counter[str]:
        """As counts that can be added up."""
        found = Counter({name: int(getattr(self, name)) for name in ("accepted", "lost", "stuck", "broken", "torn")})
        return found + Counter([self.stood])


def look_over(runs: Runs, logs: Path, rows: list[Row], public: str) -> Killed:
    """Hold a killed run's log against what its driver was told, go on with it, and verify it again."""
    counted = [one for one in told(rows) if one[0] == "accepted"]
    folder = next(logs.iterdir(), None) if logs.exists() else None
    if folder is None or not (folder / LOG).exists() or b"\n" not in (folder / LOG).read_bytes():
        return Killed(accepted=len(counted), lost=len(told(rows)))  # no run, so nobody may have been told anything
    have = logged(folder)
    lost = sum(mine != its for mine, its in zip(told(rows), [*have, *[None] * len(rows)], strict=False))
    verdict = verify(folder, public=public)
    broken = int(verdict.state is State.BROKEN)
    again = runs.run(logs, do="go on", folder=str(folder))
    ended = any(one[0] == "ended" for one in have) and verify(folder, public=public).state is State.WHOLE
    after = verify(folder, public=public).state
    broken += after is State.BROKEN
    if broken:
        print(verdict.text(), verify(folder, public=public).text())
    stuck = not (ended or goes_on(again))
    if stuck:
        print(folder, again)
    torn = any(folder.glob("*.torn-*"))
    return Killed(len(counted), lost, int(stuck), broken, int(torn), "ended" if ended else "under way")


def goes_on(rows: list[Row]) -> bool:
    """Return whether a run resumed, asked or looked again, and took the answer it was given."""
    decided = [row for row in rows if "kind" in row]
    return (
        len(decided) == 2
        and decided[0]["kind"] in {"resumed", "begun", "restarted"}
        and decided[0]["phase"] in ASKING
        and decided[1]["kind"] in TAKEN
        and decided[1]["phase"] in ASKING
        and decided[1]["heard"] is not None
        and any(row.get("ended") == "LeftOpenError" for row in rows)
    )


def side_by_side(runs: list[Runs], numbers: range, one: Callable[[Runs, int], Killed]) -> Counter[str]:
    """Do ``one`` for every number, shared among the servers, and add up what was found."""

    def share(place: int) -> Counter[str]:
        found: Counter[str] = Counter()
        for number in numbers[place :: len(runs)]:
            found += one(runs[place], number).counts()
        return found

    with ThreadPoolExecutor(len(runs)) as pool:
        return sum(pool.map(share, range(len(runs))), Counter())


def test_kill_at_random_moments(fast: Path, keys: Path, capsys: pytest.CaptureFixture) -> None:
    """The ignition may kill the tablet at any moment: nothing that was told is lost, every run goes on."""
    public = read_public(keys / PUBLIC)
    with servers(keys) as runs:
        warm = [runs[0].run(fast / f"warm-{number}", do="begin") for number in range(5)]
        assert all(rows[-2]["ended"] == "" for rows in warm), warm
        length = min(float(str(rows[-1]["gone"])) for rows in warm)

        def one(mine: Runs, number: int) -> Killed:
            moment = random.Random(20310504 + number).uniform(0, length)
            logs = fast / f"kill-{number}"
            rows = mine.run(logs, do="begin", kill_at=moment)
            found = look_over(mine, logs, rows, public)
            shutil.rmtree(logs, ignore_errors=True)
            return found

        found = side_by_side(runs, range(KILLS), one)
    report(capsys, f"kill -9 at {KILLS} random moments", found)
    assert found["under way"] > KILLS // 3, "too few kills fell into a run"


def test_kill_after_every_record(fast: Path, keys: Path, capsys: pytest.CaptureFixture) -> None:
    """A kill right after each record, and each line of words, is on the disk: nothing lost, every run goes on."""
    public = read_public(keys / PUBLIC)
    with servers(keys) as runs:
        whole = runs[0].run(fast / "counted", do="begin")
        syncs = int(str(whole[-2]["syncs"]))

        def one(mine: Runs, number: int) -> Killed:
            logs = fast / f"boundary-{number}"
            rows = mine.run(logs, do="begin", kill_after=number)
            assert not any("ended" in row for row in rows), "the run outlived its kill"
            found = look_over(mine, logs, rows, public)
            shutil.rmtree(logs, ignore_errors=True)
            return found

        found = side_by_side(runs, range(1, syncs + 1), one)
    report(capsys, f"kill -9 after each of {syncs} writes of a run", found)
    assert found["under way"] + found["ended"] + found["not begun"] == syncs


def report(capsys: pytest.CaptureFixture, what: str, found: Counter[str]) -> None:
    """Print the counts and hold them to what was promised."""
    with capsys.disabled():
        print(
            f"\n{what}: accepted answers told {found['accepted']}, lost {found['lost']}, runs that cannot resume "
            f"{found['stuck']}, broken logs {found['broken']} (under way {found['under way']}, ended "
            f"{found['ended']}, not begun {found['not begun']}, torn ends {found['torn']})"
        )
    assert (found["lost"], found["stuck"], found["broken"]) == (0, 0, 0)
    assert found["accepted"] > 0
