"""What the log costs, against the bare operations, in one run on one machine.

    python benchmarks/journal.py [--records N] [--folder FOLDER]

- append: one record, chained, signed where due, written and synced, against writing and syncing the bytes
  of such a record without any of it, both in turn on the same disk; once as fast as it goes, which says most
  of the disk, and once with a wait before each, as in a run: then all caches are cold;
- verify: a whole check of a log against hashing the same lines one by one with hashlib;
- resume: taking up a run of 10,000 records, until the driver can be told where they are;
- memory: the highest resident size while checking one million records, against ten thousand.

Prints a table and writes benchmarks/results/journal.json.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import platform
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from assistant.journal.disk import Disk  # noqa: E402
from assistant.journal.keys import TabletKey, tablet_key  # noqa: E402
from assistant.journal.records import Closed, Decided, Opened, Spoke  # noqa: E402
from assistant.journal.resume import Resumer  # noqa: E402
from assistant.journal.verify import State, verify  # noqa: E402
from assistant.journal.writer import Writer  # noqa: E402
from assistant.phrases.live import Hearing  # noqa: E402

APPENDS = 2_000
WAITED = 400
WAIT_S = 0.005
DECISION = {
    "kind": "accepted",
    "reason": "The jaw was seen closed around the shank.",
    "rule": "",
    "step": "see-jaw",
    "next": "see-gap",
    "facts": {"jaw": "closed", "gap": "unknown", "release": "home"},
    "say": [{"kind": "step", "text": "Look at the gap between the plates with your light."}],
}
PEAK = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from assistant.journal.verify import verify
print(verify(Path(sys.argv[1])).state, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


class NoSync(Disk):
    """Writes without syncing, to make large logs quickly."""

    def sync(self, fd: int) -> None:
        """Do nothing."""


class NoDisk(NoSync):
    """Takes everything and writes nothing."""

    def write(self, fd: int, data: bytes, at: int) -> int:
        """Say that all was taken."""
        del fd, at
        return len(data)


def opened(key: TabletKey, run: str) -> Opened:
    """Return the beginning of a run."""
    return Opened(
        run=run,
        program="bench",
        procedure="couple",
        rig="r",
        site="s",
        lang="en",
        ears="typed",
        voice="none",
        files={},
        consent_audio=False,
        consent_words=True,
        key=key.public,
    )


def decided(number: int) -> Decided:
    """Return a decision of ordinary size."""
    return Decided(event={"kind": "heard", "phrase": "jaw-closed", "who": "driver", "n": number}, decision=DECISION)


def make(folder: Path, key: TabletKey, run: str, records: int, *, end: bool) -> Path:
    """Write a run of about ``records`` records: hearings, decisions and prompts in turn."""
    writer = Writer.begin(folder, opened(key, run), key, disk=NoSync())
    for number in range(records // 3):
        writer.hear(Hearing("typed", "jaw closed", phrase="jaw-closed"))
        writer.append(decided(number))
        writer.append(Spoke(({"kind": "step", "text": "Look at the gap with your light."},), complete=True))
    if end:
        writer.finish(Closed("coupled"))
    writer.close()
    return writer.folder


def appending(folder: Path, key: TabletKey) -> dict[str, float]:
    """Time appends and bare writes of the same bytes, without and with waits between."""
    ours, theirs = in_turn(folder, key, "append", APPENDS, 0.0)
    waited, bare_waited = in_turn(folder, key, "waited", WAITED, WAIT_S)
    return {
        "append_us_median": statistics.median(ours) * 1e6,
        "bare_us_median": statistics.median(theirs) * 1e6,
        "ratio_median": statistics.median(ours) / statistics.median(theirs),
        "ratio_mean": statistics.fmean(ours) / statistics.fmean(theirs),
        "waited_us_median": statistics.median(waited) * 1e6,
        "bare_waited_us_median": statistics.median(bare_waited) * 1e6,
        "ratio_waited_median": statistics.median(waited) / statistics.median(bare_waited),
        "own_us_median": own_work(folder, key),
    }


def in_turn(folder: Path, key: TabletKey, run: str, appends: int, wait_s: float) -> tuple[list[float], list[float]]:
    """Return what appends and bare writes took, seconds; each is first in turn, for who comes later is warmer."""
    writer = Writer.begin(folder, opened(key, run), key)
    bare = os.open(folder / f"bare-{run}", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    data = writer.append(decided(0)).whole
    taken: dict[str, list[float]] = {"ours": [], "bare": []}
    for number in range(1, appends + 1):
        record = decided(number)
        new = data
        for whose in ("ours", "bare") if number % 2 else ("bare", "ours"):
            if wait_s:
                time.sleep(wait_s)
            start = time.perf_counter()
            if whose == "ours":
                new = writer.append(record).whole
            else:
                write_bare(bare, data)
            taken[whose].append(time.perf_counter() - start)
        data = new
    writer.close()
    os.close(bare)
    return taken["ours"], taken["bare"]


def write_bare(fd: int, data: bytes) -> None:
    """Write and sync, and nothing else."""
    os.write(fd, data)
    os.fsync(fd)


def own_work(folder: Path, key: TabletKey) -> float:
    """Return the median of an append without any disk, microseconds: what the log itself does."""
    writer = Writer.begin(folder, opened(key, "own"), key, disk=NoDisk())
    taken = []
    for number in range(APPENDS):
        record = decided(number)
        start = time.perf_counter()
        writer.append(record)
        taken.append(time.perf_counter() - start)
    writer.close()
    return statistics.median(taken) * 1e6


def verifying(run: Path, key: TabletKey) -> dict[str, float]:
    """Time a whole check, words and all, and bare hashing of the same lines, the best of seven in turn."""
    ours, theirs = [], []
    for _ in range(7):
        start = time.perf_counter()
        for name in ("log.jsonl", "words.jsonl"):
            with (run / name).open("rb") as file:
                for line in file:
                    hashlib.sha256(line).hexdigest()
        middle = time.perf_counter()
        if verify(run, public=key.public).state is not State.WHOLE:
            raise SystemExit("the log does not verify")
        ours.append(time.perf_counter() - middle)
        theirs.append(middle - start)
    return {"verify_s": min(ours), "bare_s": min(theirs), "ratio": min(ours) / min(theirs)}


def resuming(run: Path, key: TabletKey) -> dict[str, float]:
    """Time looking over, folding and taking up a run."""
    start = time.perf_counter()
    resumer = Resumer(run, key)
    events = len(resumer.found.inputs)
    writer = resumer.go_on(program="bench", decayed=(), changed=(), restarted=False, files={})
    taken = time.perf_counter() - start
    writer.close()
    return {"resume_s": taken, "events": events}


def peak(run: Path) -> int:
    """Return the highest resident size, in KiB, of a process that checks a run."""
    done = subprocess.run(
        [sys.executable, "-c", PEAK, str(run), str(ROOT)], capture_output=True, text=True, check=True, timeout=600
    )
    state, size = done.stdout.split()
    if state != "whole":
        raise SystemExit("the log does not verify")
    return int(size)


def main() -> None:
    """Measure, print, write down."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--records", type=int, default=1_000_000)
    parser.add_argument("--folder", type=Path, default=None, help="on the disk to be measured")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=args.folder) as name:
        folder = Path(name)
        key = tablet_key(folder / "keys")
        result: dict[str, object] = {
            "date": datetime.now(UTC).date().isoformat(),
            "machine": f"{platform.machine()}, {os.cpu_count()} processors, {platform.system()}, "
            f"Python {platform.python_version()}",
            "load": os.getloadavg()[0],
            "append": appending(folder, key),
        }
        checked = make(folder, key, "verify", 60_000, end=True)
        result["verify"] = verifying(checked, key)
        result["resume"] = resuming(make(folder, key, "resume", 10_000, end=False), key)
        small = peak(make(folder, key, "small", 10_000, end=True))
        large = peak(make(folder, key, "large", args.records, end=True))
        result["memory"] = {"records": args.records, "peak_kib": large, "peak_kib_10000": small}
        shutil.rmtree(folder / "large")
    result["own_peak_kib"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    report(result)


def report(result: dict[str, object]) -> None:
    """Print the table and write the file."""
    append, checking = result["append"], result["verify"]
    resume, memory = result["resume"], result["memory"]
    rows = [
        ("append, of a bare write + sync (median)", f"{append['ratio_median']:.2f}", "1.3"),  # type: ignore[index]
        ("append, of a bare write + sync (mean)", f"{append['ratio_mean']:.2f}", ""),  # type: ignore[index]
        ("append after 5 ms, of a bare one (median)", f"{append['ratio_waited_median']:.2f}", ""),  # type: ignore[index]
        ("append, own work without a disk (µs, median)", f"{append['own_us_median']:.1f}", ""),  # type: ignore[index]
        ("verify, of hashing the lines", f"{checking['ratio']:.2f}", "4"),  # type: ignore[index]
        ("resume 10,000 records (s)", f"{resume['resume_s']:.2f}", "1"),  # type: ignore[index]
        ("peak memory, 10,000 records (MiB)", f"{memory['peak_kib_10000'] / 1024:.1f}", ""),  # type: ignore[index]
        (f"peak memory, {memory['records']:,} records (MiB)", f"{memory['peak_kib'] / 1024:.1f}", "flat"),  # type: ignore[index]
    ]
    print(f"{result['machine']}, {result['date']}, load {result['load']:.1f}")
    for what, value, limit in rows:
        print(f"{what:45s} {value:>8s}   {('limit ' + limit) if limit else ''}")
    out = ROOT / "benchmarks" / "results" / "journal.json"
    out.parent.mkdir(parents=True, exist_ok=True)
    out.write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
