"""Runs Debian's ``spin`` on a plan's model: a tool of authors and tests, never of the cab."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from assistant.errors import DeviceError
from assistant.procedure.plan import Facts, Plan
from assistant.proof.promela import pairs_h, promela
from assistant.proof.promela_text import FAULTS

SECONDS: Final = 300
MEMORY_MB: Final = 1800
DEEPEST: Final = 2_000_000


@dataclass(frozen=True, slots=True)
class SpinResult:
    """What spin found: ``faults`` are (kind, step id); ``pairs`` the (step, facts) in which a step is asked.

    ``states`` and ``transitions`` are spin's own counts; its assertion fails once for each fault.
    """

    faults: frozenset[tuple[str, str]]
    errors: int
    pairs: frozenset[tuple[int, Facts]]
    states: int
    transitions: int
    seconds: float


def run_spin(plan: Plan, seconds: int = SECONDS) -> SpinResult:
    """Write, build and run the model of a plan; DeviceError when a tool is missing, fails or takes too long."""
    for tool in ("spin", "cc"):
        if shutil.which(tool) is None:
            what = f"The program {tool} is not installed; install it to cross-check a proof (Debian: spin, gcc)."
            raise DeviceError(what)
    with tempfile.TemporaryDirectory(prefix="hitchcall-spin-") as folder:
        place = Path(folder)
        (place / "model.pml").write_text(promela(plan), encoding="utf-8")
        (place / "pairs.h").write_text(pairs_h(plan), encoding="utf-8")
        _call(["spin", "-a", "model.pml"], place, seconds)
        _call(
            ["cc", "-O1", "-w", "-DSAFETY", "-DNOREDUCE", f"-DMEMLIM={MEMORY_MB}", "-o", "pan", "pan.c"],
            place,
            seconds,
        )
        said = _call(["./pan", "-c0", f"-m{DEEPEST}", "-w22"], place, seconds)
    return _read(plan, said)


def _call(order: list[str], place: Path, seconds: int) -> str:
    try:
        done = subprocess.run(order, cwd=place, capture_output=True, text=True, timeout=seconds, check=False)
    except subprocess.TimeoutExpired:
        raise DeviceError(f"{order[0]} did not finish within {seconds} seconds; prove a smaller procedure.") from None
    if done.returncode != 0:
        last = (done.stderr or done.stdout).strip().splitlines()[-1:] or ["no message"]
        raise DeviceError(f"{order[0]} failed ({last[0]}); this is a fault of the exported model.")
    return done.stdout


def _read(plan: Plan, said: str) -> SpinResult:
    """Read what the checker printed; DeviceError where it did not search to the end."""
    if "Search not completed" in said or "max search depth too small" in said or "out of memory" in said:
        raise DeviceError("spin ran out of depth or memory before it had searched everything.")
    names = [{n + 1: value for n, value in enumerate(values)} | {0: "unknown"} for values in plan.fact_values]
    pairs, faults = set(), set()
    for line in said.splitlines():
        kind, *numbers = line.split() or [""]
        if kind == "PAIR":
            step, *facts = map(int, numbers)
            pairs.add((step, tuple(names[i][value] for i, value in enumerate(facts))))
        elif kind == "FAULT":
            faults.add((FAULTS[int(numbers[0])], plan.steps[int(numbers[1])].id))

    def number(pattern: str) -> float:
        found = re.search(pattern, said)
        if found is None:
            raise DeviceError("spin did not print its counts; this version is not known here.")
        return float(found.group(1))

    return SpinResult(
        frozenset(faults), int(number(r"errors: (\d+)")), frozenset(pairs),
        int(number(r"([\d.e+]+) states, stored")), int(number(r"([\d.e+]+) transitions")),
        number(r"elapsed time ([\d.]+)"),
    )  # fmt: skip
