"""Thousands of automatic runs through the real engine, session, journal and resume.

    python benchmarks/soak.py [--runs N] [--seed N] [--part K/M] [--kept FOLDER] [--out FILE]

Every procedure, rig, site and crew in turn; careful, careless and reckless drivers; faults of every
difficulty; power cuts amid a write, lost microphones, set clocks. Counted, and wanted to be nought:

- errors: anything raised by engine, session, journal or resume;
- logs that do not verify, or that replay otherwise than they were made;
- unsafe acts allowed while guided: an act asked for or allowed that breaks a never rule by what is
  really so, to a driver who has told no lie, skipped no work and obeyed every refusal; and anything
  broken in the yard by such a driver.

Most runs write without syncing and with a short stretch of the codes, for speed; one in fifty is made
on the real disk with the real codes. A soak may be broken off and begun again: what was counted stands in
the kept folder, by parts, so that parts can be soaked side by side. The part that ends last joins them,
prints a table and writes benchmarks/results/soak.json.
"""

from __future__ import annotations

import argparse
import gc
import hashlib
import json
import os
import platform
import resource
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from random import Random

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from assistant.journal import anchor  # noqa: E402
from assistant.journal.disk import Disk  # noqa: E402
from assistant.journal.fold import replay  # noqa: E402
from assistant.journal.keys import TabletKey, tablet_key  # noqa: E402
from assistant.journal.records import Opened  # noqa: E402
from assistant.journal.verify import State, verify  # noqa: E402
from assistant.practice.making import START_WALL  # noqa: E402
from assistant.practice.manner import CAREFUL, CARELESS, RECKLESS  # noqa: E402
from assistant.practice.whole import Made, NoSync, Order, Setting, all_settings, one_run, ready_for  # noqa: E402
from assistant.prepare import Prepared  # noqa: E402
from assistant.resume import redecider  # noqa: E402

REAL_EVERY = 50
REPLAY_EVERY = 10
SHORT_STRETCH = 2
MANNERS = (CAREFUL, CARELESS, CAREFUL, CARELESS, CAREFUL, RECKLESS)


@dataclass
class Soaked:
    """What came of all runs."""

    runs: int = 0
    records: int = 0
    turns: int = 0
    resumes: int = 0
    refusals: int = 0
    allowed: int = 0
    honest: int = 0
    real_disk: int = 0
    replayed: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    broken_by_liars: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    unverifiable: list[str] = field(default_factory=list)
    otherwise: list[str] = field(default_factory=list)
    unsafe: list[str] = field(default_factory=list)
    memory_kib: list[int] = field(default_factory=list)
    cpu_s: float = 0.0
    wall_s: float = 0.0
    next: int = 0

    def count(self, made: Made) -> None:
        """Add one run."""
        self.runs += 1
        self.records += made.records
        self.turns += made.conduct.turns
        self.resumes += made.resumes
        self.refusals += len(made.conduct.refused)
        self.allowed += made.conduct.allowed
        self.honest += made.conduct.honest
        self.outcomes[made.outcome or "left open"] += 1
        where = f"{made.setting} faults {made.faults}"
        self.unsafe += [f"allowed against {rule}: {where}" for rule in made.conduct.unsafe]
        if made.conduct.honest:
            self.unsafe += [f"broken {harm.kind} by {harm.act}: {where}" for harm in made.truth.harms]
        else:
            self.broken_by_liars.update(harm.kind for harm in made.truth.harms)

    def add(self, other: Soaked) -> None:
        """Join what another part counted."""
        for each in fields(self):
            mine, theirs = getattr(self, each.name), getattr(other, each.name)
            setattr(self, each.name, max(mine, theirs) if each.name in {"next", "wall_s"} else mine + theirs)

    @property
    def clean(self) -> bool:
        """Whether nothing went wrong."""
        return not (self.errors or self.unverifiable or self.otherwise or self.unsafe)


def prepared_as(opened: Opened) -> Prepared:
    """Return what a log's run was made of, for its replay."""
    crew = next(note.removeprefix("crew: ") for note in opened.notes if note.startswith("crew: "))
    ready = ready_for(Setting(opened.procedure, opened.rig, opened.site, crew))
    assert ready is not None  # noqa: S101 - it was made with it
    return ready


def order(number: int, seed: int, settings: tuple[Setting, ...], key: TabletKey) -> Order:
    """Return what run number ``number`` of a soak is to be."""
    chance = Random(f"{seed}-{number}")  # noqa: S311 - chance for drivers
    real = number % REAL_EVERY == 0
    return Order(
        setting=settings[number % len(settings)],
        name=f"soak-{seed}-{number:06d}",
        manner=MANNERS[number % len(MANNERS)] if number % 7 else CAREFUL,
        wall_ms=START_WALL + number * 60_000,
        seed=chance.getrandbits(63),
        key=key,
        difficulty=chance.choice((0, 0, 1, 2, 3)),
        noise_db=chance.choice((None, -62.0, -50.0, -38.0)),
        keep_words=chance.random() < 0.8,
        disk=Disk() if real else NoSync(),
    )


def one(number: int, told: Order, logs: Path, soaked: Soaked) -> None:
    """Make one run, check its log, and throw it away."""
    real = number % REAL_EVERY == 0
    anchor._WORK = REAL_STRETCH if real else SHORT_STRETCH
    try:
        made = one_run(logs, told)
        soaked.count(made)
        soaked.real_disk += real
        state = verify(made.folder).state
        if state is State.BROKEN or (state is State.UNFINISHED and made.outcome):
            soaked.unverifiable.append(f"{told.name}: {state}")
        if number % REPLAY_EVERY == 0:
            soaked.replayed += 1
            if not replay(made.folder, redecider(prepared_as)).same:
                soaked.otherwise.append(told.name)
    except Exception:
        last = "".join(traceback.format_exc().splitlines(keepends=True)[-6:])
        soaked.errors.append(f"{told.name} {told.setting}: {last}")
    finally:
        anchor._WORK = REAL_STRETCH
        shutil.rmtree(logs / told.name, ignore_errors=True)


REAL_STRETCH = anchor._WORK


@dataclass(frozen=True)
class Plan:
    """How many runs there are to be, by which seed, and which part of them is meant (``part`` of ``parts``)."""

    runs: int
    seed: int
    part: int = 0
    parts: int = 1

    def kept(self, folder: Path, part: int) -> Path:
        """Return the file of a part's counts."""
        return folder / f"soak-{self.seed}-{self.runs}-{part}-of-{self.parts}.json"

    def begun(self, folder: Path, part: int, files: str) -> Soaked:
        """Return what a part has counted so far; an empty count where it has not begun or the files are others."""
        path = self.kept(folder, part)
        if not path.exists():
            return Soaked()
        told = json.loads(path.read_text(encoding="utf-8"))
        if told.pop("files") != files:
            raise SystemExit(f"{path} was counted with other procedures: remove it or name another folder.")
        counters = {name: Counter(told.pop(name)) for name in ("outcomes", "broken_by_liars")}
        return Soaked(**told, **counters)

    def keep(self, folder: Path, soaked: Soaked, files: str) -> None:
        """Write down what this part has counted."""
        path = self.kept(folder, self.part)
        new = path.with_suffix(".new")
        new.write_text(json.dumps({**vars(soaked), "files": files}) + "\n", encoding="utf-8")
        new.replace(path)


def soak(
    plan: Plan,
    folder: Path,
    soaked: Soaked,
    *,
    settings: tuple[Setting, ...] = (),
    progress: Callable[[int, Soaked], None],
) -> Soaked:
    """Make the runs of a plan's part under ``folder``, going on after what ``soaked`` counted; return it."""
    key = tablet_key(folder / "keys")
    settings = settings or all_settings()
    runs = range(plan.part, plan.runs, plan.parts)
    began, wall = time.process_time(), time.monotonic()
    before = soaked.cpu_s, soaked.wall_s
    for place in range(soaked.next, len(runs)):
        one(runs[place], order(runs[place], plan.seed, settings, key), folder / "logs", soaked)
        soaked.next = place + 1
        soaked.cpu_s, soaked.wall_s = before[0] + time.process_time() - began, before[1] + time.monotonic() - wall
        if len(runs) < 20 or place % (len(runs) // 20) == 0:
            soaked.memory_kib.append(resident_kib())
        if len(runs) < 20 or soaked.next % 50 == 0 or soaked.next == len(runs):
            progress(soaked.next, soaked)
    return soaked


def resident_kib() -> int:
    """Return the memory this process holds now, KiB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() // 1024


def fingerprint() -> str:
    """Return the hash of everything a soak runs on: counts of other files do not belong together."""
    digest = hashlib.sha256()
    for setting in all_settings():
        ready = ready_for(setting)
        assert ready is not None  # noqa: S101 - it is one of those that have a run
        digest.update(json.dumps(ready.hashes, sort_keys=True).encode())
    return digest.hexdigest()


def main() -> int:
    """Soak a part; when all parts have ended, print and write down."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--part", default="1/1", help="which part of how many, as 1/2")
    parser.add_argument("--kept", type=Path, default=Path(tempfile.gettempdir()) / "hitchcall-soak")
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "results" / "soak.json")
    args = parser.parse_args()
    part, parts = (int(number) for number in args.part.split("/"))
    plan = Plan(args.runs, args.seed, part - 1, parts)
    load = os.getloadavg()[0]
    files = fingerprint()
    args.kept.mkdir(parents=True, exist_ok=True)
    gc.collect()
    gc.freeze()  # what is loaded once need not be looked through at every collection

    def progress(number: int, soaked: Soaked) -> None:
        wrong = len(soaked.errors) + len(soaked.unverifiable) + len(soaked.otherwise) + len(soaked.unsafe)
        print(f"{number:7d} of {args.runs // parts}, {soaked.memory_kib[-1]} KiB, {wrong} wrong", flush=True)
        plan.keep(args.kept, soaked, files)

    with tempfile.TemporaryDirectory(dir=args.kept) as name:
        soak(plan, Path(name), plan.begun(args.kept, plan.part, files), progress=progress)
    return report(plan, args.kept, files, load, args.out)


def report(plan: Plan, kept: Path, files: str, load: float, out: Path) -> int:
    """Join the parts, print, write down; 1 where something went wrong."""
    soaked = Soaked()
    for part in range(plan.parts):
        soaked.add(plan.begun(kept, part, files))
    result = {
        "date": datetime.now(UTC).date().isoformat(),
        "machine": f"{platform.machine()}, {os.cpu_count()} processors, {platform.system()}, "
        f"Python {platform.python_version()}",
        "load": load, "seed": plan.seed, "asked_for": plan.runs, "runs": soaked.runs, "settings": len(all_settings()),
        "records": soaked.records, "turns": soaked.turns, "resumes": soaked.resumes, "refusals": soaked.refusals,
        "allowed": soaked.allowed, "honest_runs": soaked.honest, "real_disk_runs": soaked.real_disk,
        "replayed": soaked.replayed, "outcomes": dict(soaked.outcomes),
        "broken_by_liars": dict(soaked.broken_by_liars),
        "errors": len(soaked.errors), "unverifiable_logs": len(soaked.unverifiable),
        "replayed_otherwise": len(soaked.otherwise), "unsafe_while_guided": len(soaked.unsafe),
        "cpu_s": round(soaked.cpu_s, 1), "wall_s": round(soaked.wall_s, 1),
        "runs_a_cpu_second": round(soaked.runs / soaked.cpu_s, 1), "memory_kib": soaked.memory_kib,
    }  # fmt: skip
    for name in ("asked_for", "runs", "records", "resumes", "errors", "unverifiable_logs", "replayed_otherwise",
                 "unsafe_while_guided", "runs_a_cpu_second", "cpu_s"):  # fmt: skip
        print(f"{name:22s} {result[name]}")
    for told in (soaked.errors, soaked.unverifiable, soaked.otherwise, soaked.unsafe):
        print("\n".join(told[:5]))
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    return 0 if soaked.clean else 1


if __name__ == "__main__":
    sys.exit(main())
