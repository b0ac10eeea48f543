"""How well is a driver heard? Shipped phrases, a step's set live, real recognisers, real sound.

    python -m benchmarks.hearing --quick
    python -m benchmarks.hearing --speech ../shared/speech --reading POCKETSPHINX_SOURCE/test/data --talk PEOPLE
    python -m benchmarks.hearing --fit --talk PEOPLE   # the clips that the odds are fitted on; prints weights

PEOPLE is a folder that ``python -m benchmarks.people`` fills.

Beside both ears together stand each ear alone (its leading phrase, nothing refused) and what a user
would pick instead: a recogniser with a plain grammar of the same phrases. Synthetic and human voices
are kept apart. Raw findings are kept in the cache, so that a run that was broken off goes on where it
stopped.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import statistics
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.hearing_parts.collect import Record, collect
from benchmarks.hearing_parts.fit import answer_weights, reached, stop_weights
from benchmarks.hearing_parts.material import Counts, Item, Material, fit_items, report_items
from benchmarks.hearing_parts.outcomes import ANSWERS, EARS, NO_ANSWER, heard_by, outcome

ROOT = Path(__file__).resolve().parents[1]


def table(records: Sequence[Record], material: Material) -> list[dict[str, object]]:
    """Return one row for each ear, kind of voice, group and noise level."""
    rows = []
    grouped: dict[tuple[str, bool, str, object], list[Record]] = defaultdict(list)
    for record in records:
        if record["made"]:
            group = "answers" if record["group"] in ANSWERS else str(record["group"])
            grouped[(group, bool(record["human"]), "dB", record["snr"])].append(record)
            if record["group"] == "critical":
                grouped[("critical", bool(record["human"]), "dB", record["snr"])].append(record)
    for (group, human, _, snr), some in sorted(grouped.items(), key=str):
        for ear in EARS:
            said = [outcome(ear, r, material.live(int(str(r["step"])), str(r["reading"]))) for r in some]
            row: dict[str, object] = {
                "group": group, "voices": "human" if human else "synthetic", "snr_db": snr, "ear": ear,
                "clips": len(said),
            }  # fmt: skip
            for kind in ("right", "refused", "wrong", "taken", "stop"):
                row[kind] = said.count(kind)
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
        live = material.live(int(str(r["step"])), str(r["reading"]))
        if r["made"] and outcome("both", r, live) in {"wrong", "taken", "stop"}:
            names = ", ".join(name for name in heard_by("both", r, live) if name)
            critical = " (critical)" if any(name in live.critical for name in names.split(", ")) else ""
            snr = "clean" if r["snr"] is None else f"{r['snr']:g} dB"
            lines.append(f"{r['group']}, {snr}, {r['noise']}: {r['text']!r} for {names}{critical}")
    return sorted(lines)


def by_noise(records: Sequence[Record], material: Material) -> dict[str, dict[str, int]]:
    """Return how both ears together fare under each noise, answers by synthetic voices only."""
    found: dict[str, dict[str, int]] = defaultdict(lambda: {"right": 0, "refused": 0, "wrong": 0})
    for r in records:
        if r["group"] in ANSWERS and r["made"]:
            live = material.live(int(str(r["step"])), str(r["reading"]))
            found[str(r["noise"])][outcome("both", r, live)] += 1
    return dict(found)


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


def text(rows: Sequence[dict[str, object]]) -> str:
    """Return the rows as a table for people."""
    lines = [f"{'group':10} {'voices':9} {'SNR':>5} {'ear':26} {'clips':>5} {'right':>7} {'refused':>7} {'wrong':>5} "
             f"{'taken':>5} {'bad <':>7}"]  # fmt: skip
    for row in rows:
        clips = int(str(row["clips"]))
        right = "" if row["group"] in NO_ANSWER else f"{100 * int(str(row['right'])) / clips:6.1f}%"
        snr = "clean" if row["snr_db"] is None else f"{row['snr_db']:g}"
        lines.append(
            f"{row['group']:10} {row['voices']:9} {snr:>5} {row['ear']:26} {clips:5} {right:>7} "
            f"{row['refused']!s:>7} {row['wrong']!s:>5} {row['taken']!s:>5} "
            f"{100 * float(str(row['bad_upper_95'])):6.2f}%"
        )
    return "\n".join(lines)


def machine() -> dict[str, object]:
    """Return what the figures were measured on."""
    return {
        "date": datetime.now(UTC).strftime("%Y-%m-%d"), "machine": platform.machine(), "system": platform.system(),
        "python": platform.python_version(), "cores": os.cpu_count(), "load": [round(x, 1) for x in os.getloadavg()],
    }  # fmt: skip


def thinned(items: Sequence[Item], every: int) -> list[Item]:
    """Return each ``every``-th clip of each group, so that all groups stay in."""
    seen: dict[tuple[str, bool], int] = defaultdict(int)
    kept = []
    for item in items:
        seen[(item.group, item.human)] += 1
        if seen[(item.group, item.human)] % every == 0:
            kept.append(item)
    return kept


def main() -> None:
    """Measure and write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--speech", type=Path, default=ROOT.parent / "shared" / "speech", help="human words and digits")
    parser.add_argument("--reading", type=Path, help="folder with the read-aloud passages of pocketsphinx's source")
    parser.add_argument("--talk", type=Path, help="people who say no answer (benchmarks.people)")
    parser.add_argument("--cache", type=Path, default=Path.home() / ".cache" / "hitchcall" / "hearing")
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "results" / "hearing")
    parser.add_argument("--processes", type=int, default=1, help="more than one spoils the times")
    parser.add_argument("--fit", action="store_true", help="fit the weights of the odds and print them")
    parser.add_argument("--times", type=int, default=1, help="so many times the lines of each speaker of older make")
    parser.add_argument("--natural-times", type=int, default=1, help="the same for each natural speaker")
    parser.add_argument("--quick", action="store_true", help="a tenth of the clips")
    parser.add_argument("--seconds", type=float, default=math.inf, help="stop hearing new clips after this long")
    wish = parser.parse_args()
    speech = _there(wish.speech, "human words and digits")
    reading = _there(wish.reading, "human read speech")
    others = _there(wish.talk, "further human talk")
    material = Material()
    counts, natural = Counts().times(wish.times), Counts().times(wish.natural_times)
    if wish.fit:
        items = fit_items(material, speech, others, counts, natural)
    else:
        items = report_items(material, speech, reading, others, counts, natural)
    items = thinned(items, 10 if wish.quick else 1)
    name = "fit" if wish.fit else "report"
    records = collect(items, wish.cache, name, beside=not wish.fit, processes=wish.processes, seconds=wish.seconds)
    if wish.fit:
        weights, stop = answer_weights(records), stop_weights(records)
        print(f"{len(records)} clips")
        for name, some in (("answers", weights), ("a stop", stop)):
            print("\n".join([f"{name}:", *(f'        "{key}": {value:.2f},' for key, value in some.items())]))
        print(reached(records, material, weights, stop))
        return
    rows = table(records, material)
    print(text(rows))
    result = {
        "what": "hearing, report clips", **machine(), "clips_planned": len(items), "clips_heard": len(records),
        "skipped": [what for what, found in (("human", speech), ("read", reading), ("talk", others)) if found is None],
        "rows": rows, "taken": taken(records, material),
        "by_noise": by_noise(records, material), "speed": speeds(records),
    }  # fmt: skip
    wish.out.parent.mkdir(parents=True, exist_ok=True)
    wish.out.with_suffix(".json").write_text(json.dumps(result, indent=1) + "\n", "utf-8")
    wish.out.with_suffix(".txt").write_text(text(rows) + "\n", "utf-8")


def _there(folder: Path | None, what: str) -> Path | None:
    if folder is None or not folder.is_dir():
        print(f"skipped: {what} ({'no folder named' if folder is None else f'{folder} is missing'})")
        return None
    return folder


if __name__ == "__main__":
    main()
