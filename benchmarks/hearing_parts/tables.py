"""What the report's records come to: rows for each ear, kind of voice, group and noise level, and lists of mistakes."""

from __future__ import annotations

import math
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence

from benchmarks.hearing_parts.collect import Record
from benchmarks.hearing_parts.material import FIT_SNRS, REPORT_SNRS, Material
from benchmarks.hearing_parts.outcomes import ANSWERS, EARS, NO_ANSWER, heard_by, outcome

Row = dict[str, object]
KINDS = ("neural", "synthetic", "human")
COMES_TO = ("right", "refused", "wrong", "taken", "stop")


def level_name(snr: object) -> str:
    """Return how a noise level is named."""
    return "clean" if snr is None else f"{float(str(snr)):g}"


def rows_of(records: Sequence[Record], material: Material) -> list[Row]:
    """Return one row for each group, kind of voice, noise level and ear; critical answers are among the answers too."""
    grouped: dict[tuple[str, str, object], list[Record]] = defaultdict(list)
    for record in records:
        if record["made"]:
            group, kind, snr = str(record["group"]), str(record["kind"]), record["snr"]
            grouped[("answers" if group in ANSWERS else group, kind, snr)].append(record)
            if group == "critical":
                grouped[(group, kind, snr)].append(record)
    order = {level_name(snr): place for place, snr in enumerate(REPORT_SNRS)}
    rows: list[Row] = []
    for group, kind, snr in sorted(grouped, key=lambda key: (key[0], KINDS.index(key[1]), order[level_name(key[2])])):
        some = grouped[(group, kind, snr)]
        for ear in EARS:
            said = [outcome(ear, r, material.live_of(r)) for r in some]
            row: Row = {"group": group, "voices": kind, "snr_db": snr, "ear": ear, "clips": len(said)}
            row |= {name: said.count(name) for name in COMES_TO}
            bad = said.count("wrong") + said.count("taken")
            row["bad_upper_95"] = round(upper(bad, len(said)), 4)
            rows.append(row)
    return rows


def upper(bad: int, of: int) -> float:
    """Return the upper end of the one-sided 95 % Wilson interval of a share."""
    z = 1.645
    share = bad / of
    middle = share + z * z / (2 * of)
    return (middle + z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))) / (1 + z * z / of)


def taken(records: Sequence[Record], material: Material) -> list[str]:
    """Return what was taken for what was not said, or stopped a run, by both ears together: one line each."""
    lines = []
    for r in records:
        live = material.live_of(r)
        if r["made"] and outcome("both", r, live) in {"wrong", "taken", "stop"}:
            names = ", ".join(name for name in heard_by("both", r, live) if name)
            critical = " (critical)" if any(name in live.critical for name in names.split(", ")) else ""
            snr = level_name(r["snr"]) + ("" if r["snr"] is None else " dB")
            lines.append(f"{r['group']}, {r['kind']}, {snr}, {r['noise']}: {r['text']!r} for {names}{critical}")
    return sorted(lines)


def answers_by(what: str, records: Sequence[Record], material: Material) -> dict[str, dict[str, int]]:
    """Return how both ears together fare with answers at 20, 10 and 5 dB by a field of the record: noise, voice."""
    found: dict[str, dict[str, int]] = defaultdict(lambda: {"right": 0, "refused": 0, "wrong": 0})
    for r in records:
        if r["group"] in ANSWERS and r["made"] and r["snr"] in FIT_SNRS:
            found[str(r[what])][outcome("both", r, material.live_of(r))] += 1
    return dict(sorted(found.items()))


def speeds(records: Iterable[Record]) -> dict[str, float]:
    """Return how long both ears' verdicts took from the end of the sound, and the processor time of them."""
    heard = [h for r in records for h in r["heard"]]
    if not heard:
        return {}
    took = sorted(h["took_s"] for h in heard)
    return {
        "verdict_p50_s": round(statistics.median(took), 3),
        "verdict_p95_s": round(took[int(0.95 * (len(took) - 1))], 3),
        "processor_median_s": round(statistics.median(h["cpu_s"] for h in heard), 3),
    }


def short_text(rows: Sequence[Row]) -> str:
    """Return what both ears together come to, a line for each group and kind of voice, for people.

    Of answers, stops and readings the share that was right, and how many were taken wrongly; of all else how many
    were taken for an answer, and how many stopped the run.
    """
    levels = [level_name(snr) for snr in REPORT_SNRS]
    lines = ["both ears together", f"{'group':10} {'voices':9} " + " ".join(f"{level:>19}" for level in levels)]
    cells: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for row in rows:
        if row["ear"] == "both":
            clips = int(str(row["clips"]))
            said = f"{100 * int(str(row['right'])) / clips:.1f}% {row['wrong']} wrong"
            if row["group"] in NO_ANSWER:
                said = f"{row['taken']} taken {row['stop']} stop"
            cells[(str(row["group"]), str(row["voices"]))][level_name(row["snr_db"])] = f"{said} /{clips}"
    for (group, kind), found in cells.items():
        lines.append(f"{group:10} {kind:9} " + " ".join(f"{found.get(level, '-'):>19}" for level in levels))
    return "\n".join(lines)


def long_text(rows: Sequence[Row]) -> str:
    """Return the rows as a table for people."""
    lines = [f"{'group':10} {'voices':9} {'SNR':>5} {'ear':26} {'clips':>5} {'right':>7} {'refused':>7} {'wrong':>5} "
             f"{'taken':>5} {'bad <':>7}"]  # fmt: skip
    for row in rows:
        clips = int(str(row["clips"]))
        right = "" if row["group"] in NO_ANSWER else f"{100 * int(str(row['right'])) / clips:6.1f}%"
        lines.append(
            f"{row['group']:10} {row['voices']:9} {level_name(row['snr_db']):>5} {row['ear']:26} {clips:5} {right:>7} "
            f"{row['refused']!s:>7} {row['wrong']!s:>5} {row['taken']!s:>5} "
            f"{100 * float(str(row['bad_upper_95'])):6.2f}%"
        )
    return "\n".join(lines)
