"""Kill -9 against the real program, at random moments and after every record; counts are printed."""

from __future__ import annotations

import itertools
import json
import os
import random
import shutil
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field, fields
from pathlib import Path

import pytest

from assistant.journal import anchor
from assistant.journal.fold import inputs
from assistant.journal.keys import PUBLIC, read_public, tablet_key
from assistant.journal.reader import LOG
from assistant.journal.verify import State, verify

KILLS = int(os.environ.get("HITCHCALL_KILLS", "1000"))
IN_A_ROW = 8  # kills of one run at random moments, one after the other, each where the one before has got to
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


Decided = tuple[object, object, object]


def told(rows: list[Row]) -> list[Decided]:
    """Return the decisions that the driver was told of: kind, reason, phrase heard."""
    return [(row["kind"], row["reason"], _phrase(row["heard"])) for row in rows if "kind" in row]


def logged(folder: Path) -> list[Decided]:
    """Return the decisions in a log, in the same form."""
    return [(one.decision["kind"], one.decision["reason"], one.event.get("phrase")) for one in inputs(folder)]


def _phrase(heard: object) -> object:
    return heard["phrase"] if isinstance(heard, dict) else None


@dataclass
class Found:
    """What is found out about killed runs; ``stood`` counts where the kills fell."""

    kills: int = 0
    accepted: int = 0
    lost: int = 0
    stuck: int = 0
    broken: int = 0
    torn: int = 0
    stood: Counter[str] = field(default_factory=Counter)

    def add(self, other: Found) -> None:
        """Add what was found out about others."""
        for each in fields(self):
            setattr(self, each.name, getattr(self, each.name) + getattr(other, each.name))


def folder_in(logs: Path) -> Path | None:
    """Return the folder of the run in ``logs``; None as long as its log holds no whole record."""
    folder = next(logs.iterdir(), None) if logs.exists() else None
    if folder is None or not (folder / LOG).exists() or b"\n" not in (folder / LOG).read_bytes():
        return None
    return folder


def look_over(found: Found, folder: Path | None, before: int, rows: list[Row], public: str) -> list[Decided]:
    """Hold the log of a run against what its driver was told since ``before`` decisions; return all decisions."""
    heard = told(rows)
    found.accepted += sum(one[0] == "accepted" for one in heard)
    if folder is None:  # no run, so nobody may have been told anything
        found.lost += len(heard)
        return []
    have = logged(folder)
    found.lost += sum(mine != its for mine, its in zip(heard, [*have[before:], *[None] * len(heard)], strict=False))
    verdict = verify(folder, public=public)
    if verdict.state is State.BROKEN:
        found.broken += 1
        print(verdict.text())
    return have


def has_ended(have: list[Decided]) -> bool:
    """Whether a run had decided its own end."""
    return any(one[0] == "ended" for one in have)


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


def side_by_side(runs: list[Runs], one: Callable[[Runs, int], Found | None]) -> Found:
    """Do ``one`` for 0, 1, 2 … on every server until it returns None, and add up what was found."""
    numbers = itertools.count()
    all_found = Found()
    guard = threading.Lock()

    def share(mine: Runs) -> None:
        while (found := one(mine, next(numbers))) is not None:
            with guard:
                all_found.add(found)

    with ThreadPoolExecutor(len(runs)) as pool:
        list(pool.map(share, runs))
    return all_found


def killed_again_and_again(
    mine: Runs, logs: Path, syncs: int, longest: float, chance: random.Random, public: str
) -> Found:
    """Kill one run at random moments, go on with it each time, and let it come to its end at last.

    It is brought to one of its ``syncs`` writes first, so that kills fall into every part of a run alike.
    """
    found = Found()
    rows = mine.run(logs, do="begin", kill_after=chance.randint(1, syncs))
    have = look_over(found, folder_in(logs), 0, rows, public)
    while True:
        folder = folder_in(logs)
        how = {"do": "begin"} if folder is None else {"do": "go on", "folder": str(folder)}
        last = found.kills >= IN_A_ROW
        kill = {} if last else {"kill_at": chance.uniform(0, longest)}
        rows = mine.run(logs, **how, **kill)
        folder = folder_in(logs)
        have = look_over(found, folder, len(have), rows, public)
        if folder is None:
            shutil.rmtree(logs, ignore_errors=True)  # what was begun is no run yet
        ended = next((row for row in rows if "ended" in row), None)
        if ended is not None:  # it came to its end before it was killed
            whole = folder is not None and has_ended(have) and verify(folder, public=public).state is State.WHOLE
            if not whole:
                found.stuck += 1
                print(folder, rows)
            break
        found.kills += 1
        found.stood["ended" if has_ended(have) else "not begun" if folder is None else "under way"] += 1
    found.torn += any(logs.glob("*/*.torn-*"))
    shutil.rmtree(logs, ignore_errors=True)
    return found


@pytest.mark.timeout(900)
def test_kill_at_random_moments(fast: Path, keys: Path, capsys: pytest.CaptureFixture) -> None:
    """The ignition may kill the tablet at any moment: nothing that was told is lost, every run comes to its end."""
    public = read_public(keys / PUBLIC)
    with servers(keys) as runs:
        warm = [runs[0].run(fast / f"warm-{number}", do="begin") for number in range(5)]
        assert all(rows[-2]["ended"] == "" for rows in warm), warm
        syncs = int(str(warm[0][-2]["syncs"]))
        half = min(float(str(rows[-1]["gone"])) for rows in warm) / 2  # a longer one would seldom be killed twice
        chains = KILLS // IN_A_ROW + (KILLS % IN_A_ROW > 0)
        done = Found()

        def one(mine: Runs, number: int) -> Found | None:
            if done.kills >= KILLS or number >= 4 * chains:
                return None
            chance = random.Random(20310504 + number)
            found = killed_again_and_again(mine, fast / f"kill-{number}", syncs, half, chance, public)
            done.kills += found.kills
            return found

        found = side_by_side(runs, one)
    report(capsys, f"kill -9 at {found.kills} random moments", found)
    assert found.kills >= KILLS
    assert found.stood["under way"] > found.kills // 3, "too few kills fell into a run"


def test_kill_after_every_record(fast: Path, keys: Path, capsys: pytest.CaptureFixture) -> None:
    """A kill right after each record, and each line of words, is on the disk: nothing lost, every run goes on."""
    public = read_public(keys / PUBLIC)
    with servers(keys) as runs:
        whole = runs[0].run(fast / "counted", do="begin")
        syncs = int(str(whole[-2]["syncs"]))

        def one(mine: Runs, number: int) -> Found | None:
            if number >= syncs:
                return None
            logs, found = fast / f"boundary-{number}", Found(kills=1)
            rows = mine.run(logs, do="begin", kill_after=number + 1)
            assert not any("ended" in row for row in rows), "the run outlived its kill"
            folder = folder_in(logs)
            have = look_over(found, folder, 0, rows, public)
            stood = "not begun" if folder is None else "ended" if has_ended(have) else "under way"
            found.stood[stood] += 1
            if folder is not None:
                again = mine.run(logs, do="go on", folder=str(folder), answers=1)
                after = verify(folder, public=public).state
                found.broken += after is State.BROKEN
                if not (goes_on(again) or (stood == "ended" and after is State.WHOLE)):
                    found.stuck += 1
                    print(folder, again)
            shutil.rmtree(logs, ignore_errors=True)
            return found

        found = side_by_side(runs, one)
    report(capsys, f"kill -9 after each of {syncs} writes of a run", found)
    assert found.kills == syncs


def report(capsys: pytest.CaptureFixture, what: str, found: Found) -> None:
    """Print the counts and hold them to what was promised."""
    with capsys.disabled():
        print(
            f"\n{what}: accepted answers told {found.accepted}, lost {found.lost}, runs that cannot resume "
            f"{found.stuck}, broken logs {found.broken} (under way {found.stood['under way']}, ended "
            f"{found.stood['ended']}, not begun {found.stood['not begun']}, torn ends {found.torn})"
        )
    assert (found.lost, found.stuck, found.broken) == (0, 0, 0)
    assert found.accepted > 0
