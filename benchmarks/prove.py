"""States, moves and seconds of the proof, beside spin on the same plans in the same run.

Question: is the whole library proven in five minutes and one procedure in twenty seconds, and how
does the exploration of the engine itself compare with a general model checker on its model?
Run: ``python benchmarks/prove.py [--one-each]``; writes ``benchmarks/results/prove.json``.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import sys
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from assistant.prepare import every_setting, library  # noqa: E402
from assistant.proof.explore import Explorer  # noqa: E402
from assistant.proof.library import Run, plan_of, prove_all, prove_run  # noqa: E402
from assistant.proof.space import Nobody, Space  # noqa: E402
from assistant.proof.spin import run_spin  # noqa: E402


def one_each() -> list[dict[str, object]]:
    """Prove one run of each procedure alone and cross-check it, one after the other."""
    where, out = library(), []
    for name in where.names("procedures"):
        runs = (Run(name, *parts) for parts in every_setting(where) if parts[2] == "mate")
        run, plan = next((run, found[1]) for run in runs if (found := plan_of(where, run, "en")) is not None)
        result = prove_run(where, run, "en")
        begun = perf_counter()
        spun = run_spin(plan)
        whole = perf_counter() - begun
        explorer = Explorer(plan, Nobody(), Space(plan))
        reached = explorer.run().pairs
        row = {
            "run": str(run), "steps": result.steps, "states": result.states, "moves": result.edges,
            "decisions": result.decisions, "step_facts": result.pairs, "faults": len(result.findings),
            "seconds": round(result.seconds, 2), "states_a_second": round(result.states / result.seconds),
            "spin_states": spun.states, "spin_transitions": spun.transitions, "spin_search_seconds": spun.seconds,
            "spin_whole_seconds": round(whole, 2), "spin_errors": spun.errors,
            "agree": {(step, explorer.keep(facts)) for step, facts in spun.pairs} == reached,
        }  # fmt: skip
        print(json.dumps(row), flush=True)
        out.append(row)
    return out


def whole_library() -> dict[str, object]:
    """Prove everything shipped on all cores."""
    where = library()
    runs = [Run(name, *parts) for name in where.names("procedures") for parts in every_setting(where)]
    begun = perf_counter()
    results = prove_all(where, runs, "en")
    return {
        "runs": sum(1 + len(result.same) for result in results), "distinct_plans": len(results),
        "states": sum(result.states for result in results), "moves": sum(result.edges for result in results),
        "decisions": sum(result.decisions for result in results),
        "faults": sum(len(result.findings) for result in results), "seconds": round(perf_counter() - begun, 1),
    }  # fmt: skip


def main() -> None:
    """Measure and write the results."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--one-each", action="store_true", help="leave the whole library out")
    given = parser.parse_args()
    load = os.getloadavg()[0]
    result: dict[str, object] = {"one_each": one_each()}
    if not given.one_each:
        result["library"] = whole_library()
    most = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    result["most_memory_mb"] = round(most / 1024)
    result["machine"] = {"cores": os.cpu_count(), "python": platform.python_version(), "system": platform.platform(),
                         "load_before": round(load, 1)}  # fmt: skip
    result["date"] = datetime.now(UTC).date().isoformat()
    (ROOT / "benchmarks/results").mkdir(exist_ok=True)
    (ROOT / "benchmarks/results/prove.json").write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    print(json.dumps({key: value for key, value in result.items() if key != "one_each"}, indent=2))


if __name__ == "__main__":
    main()
