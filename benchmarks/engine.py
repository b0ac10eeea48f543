"""Microseconds a decision, beside a bare trigger of the same state-machine library in the same run.

Question: what do pure handlers, never rules and the table cost over the library alone?
Run: ``python benchmarks/engine.py``; writes ``benchmarks/results/engine.json``.
"""

from __future__ import annotations

import json
import platform
import statistics
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from time import thread_time_ns

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from transitions import Machine  # noqa: E402

from assistant.engine.engine import Engine  # noqa: E402
from assistant.engine.events import Heard  # noqa: E402
from assistant.engine.guide import good_run  # noqa: E402
from assistant.prepare import grammars, library, prepare  # noqa: E402

ROUNDS = 200


def timed(call: Callable[..., object], *given: object) -> int:
    """Return the nanoseconds of processor time of one call, so that a busy machine does not count."""
    begun = thread_time_ns()
    call(*given)
    return thread_time_ns() - begun


def summary(nanoseconds: list[int]) -> dict[str, float]:
    """Return median and 99th percentile in microseconds."""
    ordered = sorted(nanoseconds)
    return {
        "median_us": round(statistics.median(ordered) / 1000, 2),
        "p99_us": round(ordered[len(ordered) * 99 // 100] / 1000, 2),
        "decisions": len(ordered),
    }


class Model:
    """The bare machine's model."""

    state: str
    go: Callable[[], bool]


def main() -> None:
    """Time a faultless run, announcements and the bare machine turn by turn."""
    ready = prepare(library(), grammars(), "couple")
    engine = Engine(ready.plan)
    run = [(state, told.event, state.since + 1000 + told.wait_ms) for state, told in good_run(engine)]
    model = Model()
    arrows = [["go", "one", "two"], ["go", "two", "one"]]
    Machine(model, states=["one", "two"], initial="one", transitions=arrows, auto_transitions=False)
    acts = [Heard(phrase) for phrase in ready.plan.by_announcement]
    bare: list[int] = []
    ours: list[int] = []
    announced: list[int] = []
    for _ in range(ROUNDS):  # turn by turn, so that both meet the same caches and the same neighbours
        for state, event, now in run:
            bare.append(timed(model.go))
            ours.append(timed(engine.decide, state, event, now))
        middle = run[len(run) // 2][0]
        announced += [timed(engine.decide, middle, event, middle.since) for event in acts]
    told = {"bare trigger": summary(bare), "decisions": summary(ours), "announcements": summary(announced)}
    result: dict[str, object] = {**told}
    for name in ("median_us", "p99_us"):
        result[f"ratio_{name[:-3]}"] = round(told["decisions"][name] / told["bare trigger"][name], 2)
    result["machine"] = {"cpu": platform.machine(), "python": platform.python_version(), "system": platform.platform()}
    result["date"] = datetime.now(UTC).date().isoformat()
    (ROOT / "benchmarks/results").mkdir(exist_ok=True)
    (ROOT / "benchmarks/results/engine.json").write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    print(json.dumps(result, indent=2))


if __name__ == "__main__":
    main()
