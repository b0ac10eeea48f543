"""Kill -9 against a scripted run in a child process; counts are printed."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from assistant.errors import LogError
from assistant.journal import anchor
from assistant.journal.fold import inputs
from assistant.journal.keys import TabletKey
from assistant.journal.verify import State, verify
from tests.journal.scripted import ANSWERS, RUN, write_all

COMMAND = (sys.executable, "-m", "tests.journal.scripted")
"""The program that is killed. Another one must print "ack N" when answer N counts, and take the same
arguments."""

KILLS = int(os.environ.get("HITCHCALL_KILLS", "1000"))
ROOT = Path(__file__).parents[2]


def acknowledged(lines: list[str]) -> set[int]:
    """Return the answers that were acknowledged before the kill."""
    return {int(line.split()[1]) for line in lines if line.startswith("ack ") and line.split()[1].isdigit()}


def left(folder: Path) -> set[int]:
    """Return the answers that a log holds."""
    return {int(str(found.event["answer"])) for found in inputs(folder)}


def goes_on(logs: Path, keys: Path, public: str) -> bool:
    """Resume to the end, and see that every answer is there once and that the log verifies."""
    if not whole(logs, public):
        write_all(logs, keys, lambda _: None)
    every = [found.event["answer"] for found in inputs(logs / RUN)]
    return every == list(range(ANSWERS)) and whole(logs, public)


def whole(logs: Path, public: str) -> bool:
    """Return whether the log is whole to its sealed end."""
    try:
        return verify(logs / RUN, public=public).state is State.WHOLE
    except LogError:
        return False  # killed before anything was written


@pytest.fixture
def keys(fast: Path, key: TabletKey) -> Path:
    """A folder with the tablet's key that a child can use."""
    folder = fast / "child-keys"
    if not folder.exists():
        from assistant.journal.keys import tablet_key  # noqa: PLC0415 - only here

        tablet_key(folder)
    return folder


@pytest.fixture
def public(keys: Path) -> str:
    """The public half of that key."""
    from assistant.journal.keys import PUBLIC, read_public  # noqa: PLC0415 - only here

    return read_public(keys / PUBLIC)


@contextmanager
def server() -> Iterator[subprocess.Popen[str]]:
    """A server that forks one run a request: the imports are paid for once."""
    with subprocess.Popen(
        [*COMMAND, "--serve"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=ROOT
    ) as process:
        yield process
        process.stdin.close()  # type: ignore[union-attr]


def kill_once(process: subprocess.Popen[str], logs: Path, keys: Path, after: float, *, begun: bool) -> list[str]:
    """Start one run, kill it ``after`` seconds later, and return what it had said by then.

    The seconds count from the start of the process, or from the beginning of the run when ``begun``.
    """
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(f"{logs}\t{keys}\n")
    process.stdin.flush()
    pid = int(process.stdout.readline().split()[1])
    lines = [process.stdout.readline().strip()] if begun else []
    time.sleep(after)
    with suppress(ProcessLookupError):  # it may have come to its end
        os.kill(pid, signal.SIGKILL)
    while (line := process.stdout.readline().strip()) != "gone":
        lines.append(line)
    return lines


def run_length(process: subprocess.Popen[str], logs: Path, keys: Path) -> float:
    """Return the seconds that a whole run takes when nobody kills it."""
    assert process.stdin is not None
    assert process.stdout is not None
    start = time.monotonic()
    process.stdin.write(f"{logs}\t{keys}\n")
    process.stdin.flush()
    while process.stdout.readline().strip() != "gone":
        pass
    return time.monotonic() - start


def test_kill_at_random_moments(
    fast: Path, keys: Path, public: str, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The ignition may kill the tablet at any moment: no accepted answer is lost, every run goes on."""
    monkeypatch.setattr(anchor, "_WORK", 2)  # as the server does; the code's price is not the matter here
    tmp_path = fast / "kills"
    dice = random.Random(20310504)  # noqa: S311 - only moments to kill at
    lost = stuck = begun = ended = torn = 0
    with server() as process:
        # How long a whole run takes here decides over which span the kills are spread.
        length = min(run_length(process, tmp_path / f"warm{number}", keys) for number in range(5))
        for number in range(KILLS):
            logs = tmp_path / str(number)
            counted = number % 4 != 0
            after = dice.uniform(0, length * (0.6 if counted else 1.0))
            said = kill_once(process, logs, keys, after, begun=counted)
            begun += "ack begun" in said
            ended += "ack ended" in said
            folder = logs / RUN
            try:
                have = left(folder) if (folder / "log.jsonl").exists() and said else set()
                lost += len(acknowledged(said) - have)
                stuck += not goes_on(logs, keys, public)
                torn += any(folder.glob("*.torn-*"))
            except Exception as error:
                stuck += 1
                print(number, repr(error))
            shutil.rmtree(logs, ignore_errors=True)
    with capsys.disabled():
        print(
            f"\nkill -9 at {KILLS} random moments: accepted answers lost {lost}, runs that cannot resume "
            f"{stuck} (begun {begun}, ended {ended}, torn ends {torn})"
        )
    assert (lost, stuck) == (0, 0)
    assert begun - ended > KILLS // 10, "too few kills fell into a run"


def test_kill_at_every_record_boundary(tmp_path: Path, keys: Path, public: str, capsys: pytest.CaptureFixture) -> None:
    """A kill between two records, at each of them: nothing lost, every run goes on."""
    lost = stuck = 0
    boundaries = 3 * ANSWERS + 2
    for boundary in range(boundaries):
        logs = tmp_path / str(boundary)
        with subprocess.Popen(
            [*COMMAND, str(logs), str(keys), "STEP"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        ) as process:
            assert process.stdin is not None
            assert process.stdout is not None
            said = [process.stdout.readline().strip()]
            for _ in range(boundary):
                process.stdin.write("\n")
                process.stdin.flush()
                said.append(process.stdout.readline().strip())
            process.kill()
        lost += len(acknowledged(said) - left(logs / RUN))
        if "ack ended" not in said:
            stuck += not goes_on(logs, keys, public)
    with capsys.disabled():
        print(f"\nkill -9 at {boundaries} record boundaries: lost {lost}, cannot resume {stuck}")
    assert (lost, stuck) == (0, 0)
