"""Whole runs by recordings, of every procedure on every rig, site and crew.

Question: a driver who does everything right, and whose answers are recordings of a synthetic voice,
drives each distinct plan; does the run end with its claim, how often must an answer be said again, and
is any taken for another? Beside it stand the typed lines of the same plans, which need no ears.
Run: ``python benchmarks/recorded_runs.py [--procedure NAME] [--shard 1/2] [--limit N] [--voice flite-slt]
[--typed]``; goes on where ``benchmarks/results/recorded_runs.json`` ends and writes it after each run.
A run whose files or ears have changed since is made anew.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from assistant.ears.base import Signal  # noqa: E402
from assistant.ears.choose import open_pair  # noqa: E402
from assistant.ears.control import PracticeClocks  # noqa: E402
from assistant.ears.fusion import Pair  # noqa: E402
from assistant.ears.typed import typed_hearing  # noqa: E402
from assistant.engine.events import Heard, Measured, event_of  # noqa: E402
from assistant.engine.guide import good_run  # noqa: E402
from assistant.engine.state import Outcome, State  # noqa: E402
from assistant.errors import NotMeantError  # noqa: E402
from assistant.journal.keys import tablet_key  # noqa: E402
from assistant.journal.records import Opened  # noqa: E402
from assistant.journal.verify import State as Verified  # noqa: E402
from assistant.journal.verify import verify  # noqa: E402
from assistant.journal.writer import Writer  # noqa: E402
from assistant.phrases.live import Hearing, Live  # noqa: E402
from assistant.prepare import Prepared, every_setting, grammars, library, prepare  # noqa: E402
from assistant.proof.library import likeness  # noqa: E402
from assistant.proof.moves import Move  # noqa: E402
from assistant.proof.spoken import typed_lines  # noqa: E402
from assistant.recorded_driver import RecordedDriver  # noqa: E402
from assistant.session import Session  # noqa: E402
from assistant.voice.choose import open_voice  # noqa: E402
from assistant.voice.other_voices import OtherVoice, other_voices  # noqa: E402

RESULTS = ROOT / "benchmarks/results/recorded_runs.json"
MOST_TYPED = 400  # moves of a faultless run; the longest has under 200


@dataclass
class Told:
    """What came of one run: ``wrong`` are answers taken for others, ``again`` those said again, with what was heard."""

    outcome: str = ""
    step: str = ""
    lines: int = 0
    wrong: list[str] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    log: str = ""


class Watched:
    """A recorded driver's ears, which note what was meant and what it was taken for."""

    patient = False  # as the driver's own

    def __init__(self, driver: RecordedDriver, told: Told, say: Prepared) -> None:
        self.driver, self.told, self.ready = driver, told, say

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Listen, and hold what was heard against what was meant."""
        got = self.driver.listen(live, timeout)
        if not isinstance(got, Hearing):
            return got
        meant = self.driver.meant
        self.told.lines += 1
        name = self.ready.wording.says(meant.phrase) if isinstance(meant, Heard) else str(meant)
        event = event_of(got)
        if got.unheard is not None:
            self.told.again.append(f"{name}: {got.words!r} [{got.unheard}]")
        elif event != meant:
            self.told.wrong.append(f"{name}: taken for {got.phrase or got.reading}")
        return got

    def close(self) -> None:
        """Leave the recognisers open: other runs use them."""


def drive(ready: Prepared, pair: Pair, voice: OtherVoice, folder: Path) -> Told:
    """Drive one run by recordings in this process: the real session, engine, ears and log; holds pass at once."""
    told, clocks, key = Told(), PracticeClocks(), tablet_key(folder / "keys")
    opened = Opened(
        run=f"{ready.plan.procedure}-{time.monotonic_ns()}", program="benchmark", procedure=ready.plan.procedure,
        rig=ready.plan.rig, site=ready.plan.site, lang=ready.plan.lang, ears="recorded", voice="none",
        files=ready.hashes, consent_audio=False, consent_words=True, key=key.public,
        notes=(f"crew: {ready.plan.crew}", "practice"),
    )  # fmt: skip
    writer = Writer.begin(folder / "logs", opened, key, clocks=clocks)
    here: list[State] = [ready.engine.initial()]
    driver = RecordedDriver(ready, pair, folder / "driver", lambda: here[0], voices=(voice,))

    def shown(one: object) -> None:
        here[0] = one.state  # type: ignore[attr-defined]

    with ExitStack() as stack:
        stack.callback(writer.close)
        spoken = open_voice("none", ready.plan.lang, folder / "voice").voice
        stack.callback(spoken.close)
        session = Session(ready, writer, Watched(driver, told, ready), spoken, shown)
        session.sleep = lambda seconds: clocks.forward(round(seconds * 1000))
        session.run()
    told.outcome = session.state.outcome.value or "left open"
    told.step = ready.plan.steps[session.state.step].id if session.state.outcome is Outcome.NONE else ""
    told.log = "verifies" if verify(writer.folder).state in {Verified.WHOLE, Verified.UNFINISHED} else "broken"
    return told


def distinct(procedure: str | None) -> Iterator[Prepared]:
    """Yield one run of every plan the engine can tell apart; a mate's where the driver's alone is the same."""
    where, seen = library(), set()
    names = [procedure] if procedure else where.names("procedures")
    for name in names:
        for crew in ("mate", "alone"):
            for rig, site, its in every_setting(where):
                if its != crew:
                    continue
                try:
                    ready = prepare(where, grammars(), name, rig=rig, site=site, crew=crew)
                except NotMeantError:
                    continue
                if likeness(ready.plan) not in seen:
                    seen.add(likeness(ready.plan))
                    yield ready


def typed_to_the_end(ready: Prepared) -> bool:
    """Whether the same driver comes to the claim by lines alone, each taken for what was meant and nothing else."""
    for count, (state, told) in enumerate(good_run(ready.engine)):
        if count > MOST_TYPED:
            return False
        event = told.event
        if isinstance(event, Heard | Measured):
            line = typed_lines([Move(event)], ready.book)[0]
            event = event_of(typed_hearing(line, ready.live(state)))
        last = ready.engine.decide(state, event, state.since + 1000 + told.wait_ms)
    return last.state.outcome is Outcome.DONE


def ears_hash() -> str:
    """Return one hash of what understands: the ears, the phrases, and the driver."""
    whole = hashlib.sha256()
    for place in ("assistant/ears", "assistant/phrases"):
        for path in sorted((ROOT / place).glob("*.py")):
            whole.update(path.read_bytes())
    return whole.hexdigest()[:12]


def files_hash(ready: Prepared) -> str:
    """Return one hash of the files a run depends on."""
    return hashlib.sha256(repr(sorted(ready.hashes.items())).encode()).hexdigest()[:12]


def key_of(ready: Prepared, voice: str) -> str:
    """Return the name of a run in the results."""
    plan = ready.plan
    return f"{plan.procedure} / {plan.rig} / {plan.site} / {plan.crew} / {voice}"


def save(rows: dict[str, dict[str, object]]) -> None:
    """Write the results: each run, and what they come to for each procedure."""
    whole: dict[str, dict[str, int]] = {}
    for name, row in rows.items():
        sums = whole.setdefault(name.split(" / ")[0], {"runs": 0, "done": 0, "lines": 0, "said_again": 0, "wrong": 0})
        sums["runs"] += 1
        sums["done"] += row["outcome"] == "done"
        sums["lines"] += int(str(row["lines"]))
        sums["said_again"] += len(row["again"])  # type: ignore[arg-type]
        sums["wrong"] += len(row["wrong"])  # type: ignore[arg-type]
    RESULTS.parent.mkdir(exist_ok=True)
    text = json.dumps({"by_procedure": whole, "runs": dict(sorted(rows.items()))}, indent=1, ensure_ascii=False)
    RESULTS.write_text(text + "\n", encoding="utf-8")


def read() -> dict[str, dict[str, object]]:
    """Read the results there are."""
    try:
        rows: dict[str, dict[str, object]] = json.loads(RESULTS.read_text(encoding="utf-8"))["runs"]
    except (OSError, ValueError, KeyError):
        rows = {}
    return rows


def wanted(given: argparse.Namespace) -> list[Prepared]:
    """Return the runs asked for, every ``of``-th one, one each of the procedures first."""
    runs, seen = list(distinct(given.procedure)), set()
    first = [one for one in runs if not (one.plan.procedure in seen or seen.add(one.plan.procedure))]  # type: ignore[func-returns-value]
    runs = first + [one for one in runs if one not in first]
    number, of = (int(part) for part in given.shard.split("/"))
    return runs[number - 1 :: of]


def by_recordings(given: argparse.Namespace) -> None:
    """Drive what is asked for and was not driven yet with these files and ears."""
    voice = next(one for one in other_voices() if one.name == given.voice)
    rows, made, pair, ears = read(), 0, None, ears_hash()
    for ready in wanted(given):
        name, files = key_of(ready, given.voice), files_hash(ready)
        was = rows.get(name)
        if made == given.limit or (was is not None and (was["files"], was["ears"]) == (files, ears)):
            continue
        pair = pair or open_pair(ready.book).pair
        began, made = time.process_time(), made + 1
        with tempfile.TemporaryDirectory(prefix="hitchcall-recorded-") as folder:
            told = drive(ready, pair, voice, Path(folder))
        row: dict[str, object] = {
            "outcome": told.outcome, "step": told.step, "lines": told.lines, "wrong": told.wrong, "again": told.again,
            "log": told.log, "processor_seconds": round(time.process_time() - began), "files": files, "ears": ears,
            "date": datetime.now(UTC).date().isoformat(),
        }  # fmt: skip
        rows = {**read(), name: row}
        save(rows)
        print(name, json.dumps(row, ensure_ascii=False), flush=True)


def main() -> None:
    """Drive by recordings, or check all by typed lines."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--procedure")
    parser.add_argument("--shard", default="1/1", help="only every N-th run, from this one: 1/2 and 2/2")
    parser.add_argument("--limit", type=int, default=-1, help="at most so many runs (-1: all)")
    parser.add_argument("--voice", default="flite-slt")
    parser.add_argument("--typed", action="store_true", help="by typed lines, without ears: takes seconds")
    given = parser.parse_args()
    if not given.typed:
        return by_recordings(given)
    runs = wanted(given)
    left = [str(ready.plan.procedure) for ready in runs if not typed_to_the_end(ready)]
    print(f"{len(runs)} distinct plans by typed lines, {len(left)} not done: {left}")
    sys.exit(1 if left else 0)


if __name__ == "__main__":
    main()
