"""A server of real runs, for tests that kill them: imports and plan are paid for once, each run is a fork.

    python -m tests.journal.real_runs

Takes one JSON request a line: {"do": "begin" or "go on", "logs": …, "keys": …} with "folder" (to go on
with), "answers" (so many lines are said then; all that are left without it), "kill_at" (SIGKILL once the
run has used so many seconds of processor time, which spreads kills over the whole run however busy the
machine is) or "kill_after" (SIGKILL right after so many syncs of log and words). Prints what `hitchcall
run --json` prints, then {"gone": seconds of processor time used}.

The run is the program's own, from `assistant.commands.run` down to the disk: typed ears that read a
pipe, no voice. A run that is gone on with hears what a good driver says from there on; that is found out
before the fork, so that every kill falls into the program.
"""

from __future__ import annotations

import gc
import json
import os
import select
import signal
import sys
import time
from contextlib import ExitStack, suppress
from functools import cache
from importlib import import_module
from pathlib import Path

from assistant.commands import run
from assistant.commands.phrases import script_lines
from assistant.engine.events import Heard, Measured, Resumed
from assistant.engine.guide import reply
from assistant.engine.state import Phase, State
from assistant.errors import HitchcallError
from assistant.journal import anchor
from assistant.journal.disk import Disk
from assistant.journal.keys import tablet_key
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared
from assistant.resume import fold

HANGS_S = 60.0  # a run takes tenths of a second
SETTING = ("wear-check", "fixed-spring", "lines-after", "alone", "en", None)
"""The shortest run there is that holds every kind of record: answers, readings, and the read-backs of both."""


class CountingDisk:
    """Counts the syncs of the real disk's files, and ends the process after a certain one."""

    def __init__(self, kill_after: int) -> None:
        self.count = 0
        real = Disk.sync

        def sync(disk: Disk, fd: int) -> None:
            real(disk, fd)
            self.count += 1
            if self.count == kill_after:
                os.kill(os.getpid(), signal.SIGKILL)

        Disk.sync = sync  # type: ignore[method-assign] - in this child only


def say(row: dict[str, object]) -> None:
    """Write a line to the test at once; on a line of its own, though a run was killed amid its own."""
    os.write(1, f"\n{json.dumps(row)}\n".encode())


def type_in(lines: list[str]) -> None:
    """Put lines on standard input, which then ends."""
    out, into = os.pipe()
    os.write(into, ("\n".join(lines) + "\n").encode())
    os.close(into)
    os.dup2(out, 0)
    sys.stdin = os.fdopen(0, encoding="utf-8")


def lines_from(ready: Prepared, folder: Path) -> list[str]:
    """Return what a good driver says from where a run stands to its end."""
    state = ready.engine.decide(fold(ready, folder).state, Resumed(False), 0).state
    return rest_of(state._replace(since=0))


@cache
def rest_of(state: State) -> list[str]:
    """Return the lines of a good driver from ``state`` on; many kills fall at the same step."""
    ready, now, lines = run.prepared(*SETTING), 0, []
    while state.phase is not Phase.OVER:
        told = reply(ready.plan, state)
        if isinstance(told.event, Measured):
            lines.append(say_reading(told.event.value, told.event.unit, ready.book.lang))
        elif isinstance(told.event, Heard):
            lines.append(ready.wording.says(told.event.phrase))
        now += 1000 + told.wait_ms
        state = ready.engine.decide(state, told.event, now).state
    return lines


def lines_for(request: dict[str, object]) -> list[str]:
    """Return what is said to the run that is asked for."""
    if request["do"] == "begin":
        return script_lines_once()
    with suppress(HitchcallError):  # no log yet, or ended: the program itself shall say so
        lines = lines_from(run.prepared(*SETTING), Path(str(request["folder"])))
        return lines[: int(str(request.get("answers", len(lines))))]
    return []


def work(request: dict[str, object], lines: list[str]) -> None:
    """Begin a run or go on with one, in the child."""
    key = tablet_key(Path(str(request["keys"])))
    ready = run.prepared(*SETTING)
    wishes = run.Wishes("typed", "none", Path(str(request["logs"])), None, "", "", False, True, True)
    disk = CountingDisk(int(str(request.get("kill_after", 0))))
    type_in(lines)
    try:
        if request["do"] == "begin":
            with ExitStack() as stack:
                run.begin(run.Work(ready, wishes, run.Early(wishes, "en", stack), stack), key)
        else:
            run.go_on(Path(str(request["folder"])), wishes, key, None)
        say({"ended": "", "syncs": disk.count})
    except HitchcallError as error:
        say({"ended": type(error).__name__, "why": str(error)})


@cache
def script_lines_once() -> list[str]:
    """Return the lines of a faultless run."""
    return script_lines(run.prepared(*SETTING))


def main() -> None:
    """Fork one run for each request."""
    anchor._WORK = 2  # a code costs as much as many records, and too many of the kills would fall into it
    run.prepared = cache(run.prepared)  # type: ignore[assignment] - as when the program runs on
    script_lines_once()
    import_module("assistant.ears.choose")  # a run loads its ears late; each child would do it anew
    gc.collect()
    gc.freeze()  # or each child would copy all that was imported at its first collection
    for line in iter(sys.stdin.readline, ""):
        request = json.loads(line)
        lines = lines_for(request)
        child = os.fork()
        if child == 0:
            try:
                work(request, lines)
                sys.stdout.flush()
            finally:
                os._exit(0)
        say({"gone": see_through(child, request.get("kill_at", float("inf")))})


def see_through(child: int, kill_at: float) -> float:
    """Wait for a child's end, or kill it at its moment or when it hangs; return its processor seconds."""
    hangs = time.monotonic() + HANGS_S
    clock = (~child << 3) | 2  # Linux's name for the processor time of that process
    ended = os.pidfd_open(child)
    try:
        used = 0.0
        while used < kill_at and time.monotonic() < hangs:
            # A run hardly uses more processor time than passes (its threads take turns): no need to look sooner.
            if select.select([ended], [], [], min(HANGS_S, max(kill_at - used, 0.0003)))[0]:
                break
            used = time.clock_gettime(clock)
        else:
            os.kill(child, signal.SIGKILL)
        _, _, whole = os.wait4(child, 0)
        return whole.ru_utime + whole.ru_stime
    finally:
        os.close(ended)


if __name__ == "__main__":
    main()
