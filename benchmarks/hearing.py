"""How well is a driver heard? Shipped phrases, a step's set live, real recognisers, real sound.

    python -m benchmarks.hearing --quick
    python -m benchmarks.hearing --speech ../shared/speech --reading POCKETSPHINX_SOURCE/test/data --talk PEOPLE
    python -m benchmarks.hearing --fit --talk PEOPLE   # the clips that the odds are fitted on; prints weights

PEOPLE is a folder that ``python -m benchmarks.people`` fills; ``python -m benchmarks.speakers`` fetches natural
synthetic speakers.

Beside both ears together stand each ear alone (its leading phrase, nothing refused) and what a user
would pick instead: a recogniser with a plain grammar of the same phrases. Natural synthetic voices, those of
older make, and people are kept apart. Raw findings are kept in the cache, so that a run that was broken off goes
on where it stopped.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import platform
import zlib
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.hearing_parts import packed
from benchmarks.hearing_parts.collect import Record, collect
from benchmarks.hearing_parts.drawn import draw, exchange
from benchmarks.hearing_parts.fit import answer_weights, reached, stop_weights
from benchmarks.hearing_parts.material import Counts, Item, Material, fit_items, report_items
from benchmarks.hearing_parts.tables import answers_by, long_text, rows_of, short_text, speeds, taken

ROOT = Path(__file__).resolve().parents[1]


def machine() -> dict[str, object]:
    """Return what the figures were measured on."""
    return {
        "date": datetime.now(UTC).strftime("%Y-%m-%d"), "machine": platform.machine(), "system": platform.system(),
        "python": platform.python_version(), "cores": os.cpu_count(), "load": [round(x, 1) for x in os.getloadavg()],
    }  # fmt: skip


def thinned(items: Sequence[Item], every: int) -> list[Item]:
    """Return each ``every``-th clip of each group and kind of voice, in a mixed order, so that all stay in."""
    seen: dict[tuple[str, str], int] = defaultdict(int)
    kept = []
    for item in sorted(items, key=lambda item: zlib.crc32(item.key.encode())):
        seen[(item.group, item.kind)] += 1
        if seen[(item.group, item.kind)] % every == 0:
            kept.append(item)
    return kept


def main() -> None:
    """Measure and write the table, or fit."""
    wish = _wishes()
    folders = [_there(wish.speech, "human words and digits"), _there(wish.talk, "further human talk")]
    reading = _there(wish.reading, "human read speech")
    if not packed.in_place():
        print("skipped: natural synthetic speakers (python -m benchmarks.speakers fetches them)")
    material = Material()
    counts, natural = Counts().times(wish.times), Counts().times(wish.natural_times)
    if wish.fit:
        items = fit_items(material, *folders, counts, natural)
    else:
        items = report_items(material, *folders, reading, counts, natural)
    items = thinned(list({item.key: item for item in items}.values()), 10 if wish.quick else 1)
    name = "fit" if wish.fit else "report"
    records = collect(items, wish.cache, name, beside=not wish.fit, processes=wish.processes, seconds=wish.seconds)
    if wish.fit:
        print_fit(records, material)
    else:
        given = {"human": folders[0], "talk": folders[1], "read": reading}
        skipped = [what for what, folder in given.items() if folder is None]
        skipped += [] if packed.in_place() else ["natural voices"]
        write_report(records, material, wish.out, {"clips_planned": len(items), "skipped": skipped})


def print_fit(records: Sequence[Record], material: Material) -> None:
    """Print the fitted weights, and what they come to on these clips."""
    weights, stop = answer_weights(records), stop_weights(records)
    print(f"{len(records)} clips")
    for name, some in (("answers", weights), ("a stop", stop)):
        print("\n".join([f"{name}:", *(f'        "{key}": {value:.2f},' for key, value in some.items())]))
    print(reached(records, material, weights, stop))


def write_report(records: Sequence[Record], material: Material, out: Path, about: Mapping[str, object]) -> None:
    """Print the table and write it, its figures and its drawing."""
    rows = rows_of(records, material)
    points = exchange(records, material)
    silent = Counter(str(record["voice"]) for record in records if not record["made"])
    result = {
        "what": "hearing, report clips", **machine(), **about, "clips_heard": len(records) - silent.total(),
        "clips_not_made": dict(silent), "rows": rows, "taken": taken(records, material), "exchange": points,
        "by_noise": answers_by("noise", records, material), "by_voice": answers_by("voice", records, material),
        "speed": speeds(records),
    }  # fmt: skip
    text = f"{short_text(rows)}\n\n{long_text(rows)}\n"
    print(text)
    out.parent.mkdir(parents=True, exist_ok=True)
    out.with_suffix(".json").write_text(json.dumps(result, indent=1) + "\n", "utf-8")
    out.with_suffix(".txt").write_text(text, "utf-8")
    draw(rows, points, out.with_suffix(".png"))


def _wishes() -> argparse.Namespace:
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
    return parser.parse_args()


def _there(folder: Path | None, what: str) -> Path | None:
    if folder is None or not folder.is_dir():
        print(f"skipped: {what} ({'no folder named' if folder is None else f'{folder} is missing'})")
        return None
    return folder


if __name__ == "__main__":
    main()
