"""A server of real runs, for tests that kill them: imports and plan are paid for once, each run is a fork.

    python -m tests.journal.real_runs

Takes one JSON request a line: {"do": "begin" or "go on", "logs": …, "keys": …} with "folder" (to go on
with), "kill_at" (SIGKILL once the run has used so many seconds of processor time, which spreads kills
over the whole run however busy the machine is) or "kill_after" (SIGKILL right after so many syncs of log
and words). Prints what `hitchcall run --json` prints, then {"gone": seconds of processor time used}.

The run is the program's own, from `assistant.commands.run` down to the disk: typed ears that read a
pipe, no voice. A run that is gone on with gets one line to hear: what a good driver says next.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
import time
from contextlib import ExitStack, suppress
from functools import cache
from importlib import import_module
from pathlib import Path

from assistant.commands import run
from assistant.commands.phrases import script_lines
from assistant.engine.events import Measured, Resumed
from assistant.engine.guide import reply
from assistant.errors import HitchcallError
from assistant.journal import anchor
from assistant.journal.disk import Disk
from assistant.journal.fold import inputs
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


def next_line(ready: Prepared, folder: Path) -> str:
    """Return what a good driver says once the run has been resumed."""
    last = max((found.at for found in inputs(folder)), default=0)
    state = ready.engine.decide(fold(ready, folder).state, Resumed(False), last + 1).state
    event = reply(ready.plan, state).event
    if isinstance(event, Measured):
        return say_reading(event.value, event.unit, ready.book.lang)
    return ready.wording.says(event.phrase)  # type: ignore[union-attr] - a good driver says or measures


def work(request: dict[str, object]) -> None:
    """Begin a run or go on with one, in the child."""
    key = tablet_key(Path(str(request["keys"])))
    ready = run.prepared(*SETTING)
    wishes = run.Wishes("typed", "none", Path(str(request["logs"])), None, "", "", False, True, True)
    disk = CountingDisk(int(str(request.get("kill_after", 0))))
    try:
        if request["do"] == "begin":
            type_in(script_lines_once())
            with ExitStack() as stack:
                run.begin(run.Work(ready, wishes, run.Early(wishes, "en", stack), stack), key)
        else:
            folder = Path(str(request["folder"]))
            with suppress(HitchcallError):  # no log yet, or ended: the program itself shall say so
                type_in([next_line(ready, folder)])
            run.go_on(folder, wishes, key, None)
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
        child = os.fork()
        if child == 0:
            try:
                work(request)
                sys.stdout.flush()
            finally:
                os._exit(0)
        say({"gone": see_through(child, request.get("kill_at", float("inf")))})


def see_through(child: int, kill_at: float) -> float:
    """Wait for a child's end, or kill it at its moment or when it hangs; return its processor seconds."""
    hangs = time.monotonic() + HANGS_S
    clock = (~child << 3) | 2  # Linux's name for the processor time of that process
    with suppress(ChildProcessError):
        while True:
            done, _, used = os.wait4(child, os.WNOHANG)
            if done:
                return used.ru_utime + used.ru_stime
            with suppress(OSError):
                if time.clock_gettime(clock) >= kill_at or time.monotonic() > hangs:
                    os.kill(child, signal.SIGKILL)
            time.sleep(0.0007)
    return 0.0


if __name__ == "__main__":
    main()
