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
    """Return, for some limits of an answer, the share of answers right, and of all clips what nobody said, in percent.

    What nobody said is another answer, or an answer where there was none. The other limits stay as they are; a
    critical answer needs the higher one of its own and this.
    """
    some = [record for record in records if record["made"] and record["group"] in ANSWERS | NO_ANSWER]
    points = []
    for limit in sorted({*STEPS, LIMITS.answer}):
        limits = replace(LIMITS, answer=limit, critical=max(limit, LIMITS.critical))
        said = [(r["group"] in ANSWERS, r["snr"], outcome("both", r, material.live_of(r), limits)) for r in some]
        point = {"limit": limit, "not said": _share([came in {"taken", "wrong"} for _, _, came in said])}
        for snr in FIT_SNRS:
            answers = [came == "right" for answer, level, came in said if answer and level == snr]
            point |= {f"{snr:g} dB": _share(answers)} if answers else {}
        points.append(point)
    return points


def _share(said: Sequence[bool]) -> float:
    return round(100 * sum(said) / max(len(said), 1), 3)


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
            at = [places.index(level_name(r["snr_db"])) for r in some]
            left.plot(at, share, style, label=f"{ear}, {kind} voices")
    left.plot([places.index(level_name(snr)) for snr in AIMS], list(AIMS.values()), "k_", markersize=22, label="aims")
    left.set_xticks(range(len(places)), places)
    left.set(xlabel="speech above noise, dB", ylabel="answers right at the first try, %", ylim=(0, 101))
    left.set_title("How much is understood", loc="left")
    left.legend(loc="lower left", fontsize=8)
    for snr in FIT_SNRS:
        name = f"{snr:g} dB"
        there = [p for p in points if name in p]
        right.plot([p["not said"] for p in there], [p[name] for p in there], ".-", label=name)
    now = next(point for point in points if point["limit"] == LIMITS.answer)
    right.axvline(now["not said"], color="grey", linewidth=1, label=f"limit as shipped ({LIMITS.answer:+g})")
    right.set(xlabel="of all clips, taken for an answer nobody gave, %", ylabel="answers right at the first try, %")
    right.set_title("What a stricter limit costs and saves", loc="left")
    right.legend(fontsize=8)
    figure.savefig(path, dpi=110)
