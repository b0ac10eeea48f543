"""The results of `benchmarks/fleet.py` as a table and as a curve."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any


def table(stages: list[dict[str, Any]]) -> Iterator[str]:
    """Yield the lines of the table of stages, by database."""
    for name in dict.fromkeys(one["database"] for one in stages):
        yield f"\n{name}: a stage taken in, and its rows loaded ready-made"
        yield "  runs before  new runs  rows   runs/s  ms cpu a run  bare load runs/s  intake / bare"
        for one in (told for told in stages if told["database"] == name):
            yield (
                f"  {one['known']:11}  {one['runs']:8}  {one['rows']:9}  {one['runs'] / one['seconds']:6.0f}  "
                f"{1000 * one['cpu_seconds'] / one['runs']:8.2f}  {one['runs'] / one['bare_seconds']:12.0f}  "
                f"{one['seconds'] / one['bare_seconds']:10.2f}"
            )


def curve(stages: list[dict[str, Any]], path: Path) -> None:
    """Draw what a run costs by how many runs there are already."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to load

    figure = Figure(figsize=(8, 4.5), layout="constrained")
    axes = figure.subplots()
    for name in dict.fromkeys(one["database"] for one in stages):
        some = [one for one in stages if one["database"] == name]
        upto = [one["upto"] for one in some]
        for what, mark, label in (("cpu_seconds", "o-", "intake"), ("bare_cpu_seconds", "x--", "bare load")):
            axes.plot(upto, [1000 * one[what] / one["runs"] for one in some], mark, label=f"{name}, {label}")
    axes.set_xlabel("runs in the store after the stage")
    axes.set_ylabel("processor ms of the program a run (the server's own not counted)")
    axes.set_ylim(bottom=0)
    axes.legend()
    axes.set_title("What a run costs to take in, by how many there are", loc="left")
    figure.savefig(path, dpi=110)
