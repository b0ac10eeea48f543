"""The results of the recorded runs: one file that several processes add to, and its table."""

from __future__ import annotations

import fcntl
import json
from collections.abc import Iterator
from pathlib import Path

RESULTS = Path(__file__).resolve().parents[1] / "results/recorded_runs.json"
COLUMNS = ("runs", "done", "verify", "lines", "again", "helped", "misread", "wrong")


def save(name: str, row: dict[str, object]) -> dict[str, dict[str, int]]:
    """Add a run to the results, which other processes add to as well; return the sums for each procedure."""
    RESULTS.parent.mkdir(exist_ok=True)
    with RESULTS.with_suffix(".lock").open("w") as guard:
        fcntl.flock(guard, fcntl.LOCK_EX)
        rows = {**read(), name: row}
        whole = sums(rows)
        text = json.dumps({"by_procedure": whole, "runs": dict(sorted(rows.items()))}, indent=1, ensure_ascii=False)
        new = RESULTS.with_suffix(".new")
        new.write_text(text + "\n", encoding="utf-8")
        new.replace(RESULTS)
        RESULTS.with_suffix(".txt").write_text("\n".join(table(whole)) + "\n", encoding="utf-8")
    return whole


def sums(rows: dict[str, dict[str, object]]) -> dict[str, dict[str, int]]:
    """Return what the runs come to for each procedure, and for all."""
    whole: dict[str, dict[str, int]] = {}
    for name, row in rows.items():
        for where in (name.split(" / ")[0], "all"):
            one = whole.setdefault(where, dict.fromkeys(COLUMNS, 0))
            one["runs"] += 1
            one["done"] += row["outcome"] == "done"
            one["verify"] += row["log"] == "verifies"
            one["lines"] += int(str(row["lines"]))
            one["again"] += len(row["again"])  # type: ignore[arg-type]
            one["helped"] += int(str(row["helped"]))
            one["misread"] += len(row["misread"])  # type: ignore[arg-type]
            one["wrong"] += len(row["wrong"])  # type: ignore[arg-type]
    return dict(sorted(whole.items(), key=lambda one: (one[0] == "all", one[0])))


def table(whole: dict[str, dict[str, int]]) -> Iterator[str]:
    """Yield the lines of the table."""
    yield f"{'procedure':20s}" + "".join(f"{column:>8s}" for column in COLUMNS)
    for name, one in whole.items():
        yield f"{name:20s}" + "".join(f"{one[column]:8d}" for column in COLUMNS)


def read() -> dict[str, dict[str, object]]:
    """Read the results there are."""
    try:
        rows: dict[str, dict[str, object]] = json.loads(RESULTS.read_text(encoding="utf-8"))["runs"]
    except (OSError, ValueError, KeyError):
        rows = {}
    return rows
