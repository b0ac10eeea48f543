"""What taking a fleet's runs in costs, how long the debrief's pages take on it, and that neither grows.

    python benchmarks/fleet.py [--runs N] [--stage N] [--at FOLDER] [--databases sqlite,postgresql] [--long-gb N]

Runs are made by the automatic driver (see `benchmarks.fleet_parts.made` for what is real in them) and taken in
stage by stage, as a trainer does who takes in the same folder day by day: found, verified whole (every hash, the
last signature, every word beside the log), read, written, and all figures brought up to date. Beside each stage,
in the same minutes, its rows are loaded ready-made into an empty store of the same tables: a bare bulk load.
Then the questions of every debrief page are asked of the store, and pages of single runs over HTTP.

Everything is kept in FOLDER; broken off, it goes on there. Prints tables and writes benchmarks/results/fleet.json,
fleet.txt and fleet.png. Take an idle machine: the ratios hold on a busy one, the times do not.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from benchmarks.fleet_parts.drawn import curve, table  # noqa: E402
from tests.fleet.cluster import Cluster, programs  # noqa: E402

RESULTS = ROOT / "benchmarks" / "results"
LOOKED_AT = (10_000, 30_000, 100_000)


def main() -> None:
    """Measure and report."""
    # Only here: the processes that verify logs load this module too, and a trainer's load nothing of this.
    from assistant.journal.keys import tablet_key  # noqa: PLC0415
    from benchmarks.fleet_parts import measures  # noqa: PLC0415
    from benchmarks.fleet_parts.made import long_log, make_stage, pool  # noqa: PLC0415

    warnings.filterwarnings("ignore", message="The 'future.infer_string' option")
    wanted = _arguments()
    state = wanted.at / "measured.json"
    told: dict[str, Any] = json.loads(state.read_text()) if state.exists() else {"stages": [], "pages": {}, "large": {}}
    wanted.at.mkdir(parents=True, exist_ok=True)
    stages = wanted.runs // wanted.stage
    models = pool(wanted.at / "pool")
    with _databases(wanted) as places:
        for stage in range(stages):
            todo = [name for name in places if not _has(told, name, stage)]
            if todo:
                for _ in make_stage(wanted.at / "runs", stage, wanted.stage, models, max(wanted.runs, 100_000)):
                    pass
            for name in todo:
                _stage(told, name, places[name], wanted, stage)
                state.write_text(json.dumps(told, indent=1))
        if wanted.long_gb and not told["large"]:
            key = tablet_key(wanted.at / "runs" / "keys" / "000")
            log = long_log(wanted.at, models[0], key, int(wanted.long_gb * 2**30))
            told["large"] = measures.large(log, str(wanted.at / "large.sqlite"))
            state.write_text(json.dumps(told, indent=1))
    _report(told)


def _arguments() -> argparse.Namespace:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--runs", type=int, default=100_000)
    asked.add_argument("--stage", type=int, default=10_000)
    asked.add_argument("--at", type=Path, default=Path(tempfile.gettempdir()) / "hitchcall-fleet")
    asked.add_argument("--databases", default="sqlite,postgresql")
    asked.add_argument("--long-gb", type=float, default=1.0)
    return asked.parse_args()


class _databases:  # noqa: N801 - a plain pair of enter and leave
    """Where the stores are, by name: (the fleet's, the bare load's)."""

    def __init__(self, wanted: argparse.Namespace) -> None:
        self._wanted = wanted
        self._cluster: Cluster | None = None

    def __enter__(self) -> dict[str, tuple[str, str]]:
        places = {}
        names = self._wanted.databases.split(",")
        if "sqlite" in names:
            places["sqlite"] = (str(self._wanted.at / "fleet.sqlite"), str(self._wanted.at / "bare.sqlite"))
        if "postgresql" in names:
            found = programs()
            if found is None:
                raise SystemExit("PostgreSQL is not installed; ./check installs it, or leave it out with --databases.")
            folder = Path(f"{self._wanted.at.absolute()}-postgresql")
            folder.mkdir(exist_ok=True)
            self._cluster = Cluster(found, folder)
            places["postgresql"] = (self._cluster.address("fleet"), self._cluster.address("bare"))
        return places

    def __exit__(self, *_error: object) -> None:
        if self._cluster is not None:
            self._cluster.stop()


def _has(told: dict[str, Any], name: str, stage: int) -> bool:
    return any(one["database"] == name and one["stage"] == stage for one in told["stages"])


def _stage(told: dict[str, Any], name: str, places: tuple[str, str], wanted: argparse.Namespace, stage: int) -> None:
    from benchmarks.fleet_parts import measures  # noqa: PLC0415 - as above

    folders = [wanted.at / "runs" / f"{number:03d}" for number in range(stage + 1)]
    found = measures.intake(places[0], folders, places[1])
    runs = (stage + 1) * wanted.stage
    told["stages"].append({"database": name, "stage": stage, "upto": runs, **found})
    print(f"{name} {runs}: {found['runs'] / found['seconds']:.0f} runs a second, "
          f"{found['seconds'] / found['bare_seconds']:.2f} x a bare load", flush=True)  # fmt: skip
    if runs in LOOKED_AT or runs == wanted.runs:
        seen = {"views": measures.pages(places[0]), "run": measures.one_run(folders[0], places[0], wanted.at / "home")}
        told["pages"].setdefault(name, {})[str(runs)] = seen


def _report(told: dict[str, Any]) -> None:
    machine = {"processors": os.cpu_count(), "machine": platform.machine(), "python": platform.python_version(),
               "load_at_end": os.getloadavg(), "date": datetime.now(UTC).date().isoformat()}  # fmt: skip
    text = "\n".join(_lines(told, machine)) + "\n"
    print(text)
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / "fleet.json").write_text(json.dumps({"machine": machine, **told}, indent=1) + "\n")
    (RESULTS / "fleet.txt").write_text(text)
    curve(told["stages"], RESULTS / "fleet.png")


def _lines(told: dict[str, Any], machine: dict[str, Any]) -> Iterator[str]:
    yield f"Fleet store, {machine['date']}, {machine['processors']} processors, Python {machine['python']}"
    yield "load of the machine at the end: " + ", ".join(f"{one:.1f}" for one in machine["load_at_end"])
    yield from table(told["stages"])
    for name, sizes in told["pages"].items():
        for runs, seen in sizes.items():
            yield f"\n{name}, {runs} runs: the questions of each page together, and one run's page, ms"
            for view, times in seen["views"].items():
                yield f"  {view:12} p50 {times['p50_ms']:8.1f}   p95 {times['p95_ms']:8.1f}"
            run = seen["run"]
            yield f"  one run: first {run['first_ms']:.0f}, then p50 {run['p50_ms']:.0f}, p95 {run['p95_ms']:.0f}"
    if told["large"]:
        one = told["large"]
        yield f"\nOne log of {one['bytes'] / 2**30:.2f} GiB: {one['seconds']:.0f} s, at most {one['peak_mib']:.0f} MiB "
        yield f"(the program itself: {one['own_mib']:.0f} MiB)"


if __name__ == "__main__":
    main()
