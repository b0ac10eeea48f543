"""A scripted run in a child process, for tests that kill it: begins or resumes, and goes to the end.

    python -m tests.journal.scripted LOGS KEYS [STEP]     one run
    python -m tests.journal.scripted --serve              a server that forks one run a request

Prints "ack N" once answer N of the script is on the disk. With STEP it also prints "record" between the
records of an answer, and waits for a line on standard input after whatever it prints, so that it can be
killed exactly at a record boundary.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

from assistant.journal import anchor
from assistant.journal.keys import tablet_key
from assistant.journal.records import Closed, Decided, Opened, Spoke
from assistant.journal.resume import Resumer
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Reading, Unheard

RUN = "20310504T060708Z-0a1b"
ANSWERS = 8
"""Answers of the script; each is a hearing, a decision and a prompt."""


def opened(public: str, *, audio: bool = False, words: bool = True, run: str = RUN) -> Opened:
    """Return the record the script begins with."""
    return Opened(
        run=run,
        program="0.1.0",
        procedure="couple",
        rig="day-cab",
        site="north-yard",
        lang="en",
        ears="typed",
        voice="none",
        files={"procedures/couple/procedure.toml": "0" * 64},
        consent_audio=audio,
        consent_words=words,
        key=public,
    )


def hearing(number: int) -> Hearing:
    """Return the script's answer: mostly phrases, now and then a reading or nothing understood."""
    if number % 4 == 2:
        return Hearing("typed", "one one zero psi", reading=Reading(Decimal("110"), "psi", "one one zero psi"))
    if number % 4 == 3:
        return Hearing("typed", "lovely “weather” é\n", unheard=Unheard.NOT_A_PHRASE)
    ears = {"typed": {"words": f"jaw closed {number}", "phrase": "jaw-closed", "score": -2.125}}
    return Hearing("typed", f"jaw closed {number}", phrase="jaw-closed", ears=ears)


def answer(writer: Writer, number: int, between: Callable[[], None] = lambda: None) -> None:
    """Write what one answer leaves in the log; ``between`` is called between its records."""
    writer.hear(hearing(number))
    between()
    decision = {"kind": "accepted", "reason": "seen", "step": f"s{number}", "facts": {"jaw": "closed"}}
    writer.append(Decided(event={"kind": "heard", "answer": number}, decision=decision))
    between()
    writer.append(Spoke(lines=({"kind": "step", "text": f"Look at the gap, {number}."},), complete=True))


def write_all(
    logs: Path, keys: Path, ack: Callable[[object], None], between: Callable[[], None] = lambda: None
) -> None:
    """Do the script from where the log stands; call ``ack`` with each answer once it is on the disk."""
    key = tablet_key(keys)
    folder = logs / RUN
    if (folder / "log.jsonl").exists() and (folder / "log.jsonl").read_bytes().count(b"\n"):
        resumer = Resumer(folder, key)
        if resumer.found.ended:
            resumer.seal_end()
            return
        done = len(resumer.found.inputs)
        writer = resumer.go_on(
            program="0.1.0", decayed=("jaw",), changed=(), restarted=False, files=dict(resumer.found.files)
        )
    else:
        (folder / "log.jsonl").unlink(missing_ok=True)
        done = 0
        writer = Writer.begin(logs, opened(key.public), key)
    ack("begun")
    for number in range(done, ANSWERS):
        answer(writer, number, between)
        ack(number)
    writer.finish(Closed(outcome="coupled"))
    ack("ended")


def serve() -> None:
    """Fork one run for each line "LOGS KEYS" on standard input; print its process id first."""
    anchor._WORK = 2  # a code costs more than the whole run, and the kills would all fall into it
    for line in iter(sys.stdin.readline, ""):
        logs, keys = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            say(f"pid {os.getpid()}")
            write_all(Path(logs), Path(keys), lambda what: say(f"ack {what}"))
            os._exit(0)
        os.waitpid(child, 0)
        say("gone")


def say(text: str) -> None:
    """Write a line to the parent at once."""
    os.write(1, f"{text}\n".encode())


def main() -> None:
    """Run as the module's docstring says."""
    if sys.argv[1] == "--serve":
        serve()
        return

    def tell(what: str) -> None:
        say(what)
        if sys.argv[3:] == ["STEP"]:
            sys.stdin.readline()

    def between() -> None:
        if sys.argv[3:] == ["STEP"]:
            tell("record")

    write_all(Path(sys.argv[1]), Path(sys.argv[2]), lambda what: tell(f"ack {what}"), between)


if __name__ == "__main__":
    main()
