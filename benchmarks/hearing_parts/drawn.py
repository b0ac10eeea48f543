"""The report drawn: how much is right in how much noise, and what a limit costs and saves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from assistant.ears.limits import LIMITS
from benchmarks.hearing_parts.collect import Record
from benchmarks.hearing_parts.material import FIT_SNRS, REPORT_SNRS, Material
from benchmarks.hearing_parts.outcomes import ANSWERS, EARS, NO_ANSWER, outcome
from benchmarks.hearing_parts.tables import Row, level_name

AIMS = {20.0: 98.0, 10.0: 95.0, 5.0: 85.0}
"""Of answers right at the first try, in percent."""
STEPS = tuple(-4 + 0.5 * step for step in range(20))

Point = dict[str, float]


def exchange(records: Sequence[Record], material: Material) -> list[Point]:
    """Return, for some limits of an answer, the share of answers right and of everything else taken, in percent.

    The other limits stay as they are; a critical answer needs the higher one of its own and this.
    """
    some = [record for record in records if record["made"] and record["group"] in ANSWERS | NO_ANSWER]
    points = []
    for limit in sorted({*STEPS, LIMITS.answer}):
        limits = replace(LIMITS, answer=limit, critical=max(limit, LIMITS.critical))
        said = [(r["group"] in ANSWERS, r["snr"], outcome("both", r, material.live_of(r), limits)) for r in some]
        others = [came == "taken" for answer, _, came in said if not answer]
        point = {"limit": limit, "taken": 100 * sum(others) / len(others)}
        for snr in FIT_SNRS:
            answers = [came == "right" for answer, level, came in said if answer and level == snr]
            point[f"{snr:g} dB"] = 100 * sum(answers) / len(answers)
        points.append({name: round(value, 3) for name, value in point.items()})
    return points


def draw(rows: Sequence[Row], points: Sequence[Point], path: Path) -> None:
    """Draw both, side by side."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to load

    figure = Figure(figsize=(13, 5), layout="constrained")
    left, right = figure.subplots(1, 2)
    places = [level_name(snr) for snr in REPORT_SNRS]
    for ear, kind, style in (
        (EARS[0], "neural", "o-"), (EARS[0], "synthetic", "s-"), (EARS[1], "synthetic", ".:"),
        (EARS[2], "synthetic", ".--"), (EARS[3], "neural", "x-"), (EARS[3], "synthetic", "+-"),
    ):  # fmt: skip
        some = [r for r in rows if r["group"] == "answers" and r["voices"] == kind and r["ear"] == ear]
        if some:
            share = [100 * int(str(r["right"])) / int(str(r["clips"])) for r in some]
            left.plot([level_name(r["snr_db"]) for r in some], share, style, label=f"{ear}, {kind} voices")
    left.plot([places.index(level_name(snr)) for snr in AIMS], list(AIMS.values()), "k_", markersize=22, label="aims")
    left.set(xlabel="speech above noise, dB", ylabel="answers right at the first try, %", ylim=(0, 101))
    left.set_title("How much is understood", loc="left")
    left.legend(loc="lower left", fontsize=8)
    for snr in FIT_SNRS:
        name = f"{snr:g} dB"
        right.plot([p["taken"] for p in points], [p[name] for p in points], ".-", label=name)
    now = next(point for point in points if point["limit"] == LIMITS.answer)
    right.axvline(now["taken"], color="grey", linewidth=1, label=f"limit as shipped ({LIMITS.answer:+g})")
    right.set(xlabel="of all that is no answer, taken for one, %", ylabel="answers right at the first try, %")
    right.set_title("What a stricter limit costs and saves", loc="left")
    right.legend(fontsize=8)
    figure.savefig(path, dpi=110)
