"""How quickly the whole loop answers, beside what one would write first, in one run on one machine.

Question: is there a gap as in human talk (200 ms, Stivers et al., PNAS 2009), or a wait?
Real sound is fed in real time through a named pipe in the place of the microphone's device; the real
player hands its blocks to a device made of software, which notes the moments. Replies are timed to
the first sample that is handed over: a real device adds its own buffer to that, as it does to the
plain way. Silence is timed at the device, its buffer included.
Run: ``python benchmarks/response.py [answers]`` (about five minutes); writes
``benchmarks/results/response.json`` and ``.txt``.
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import sys
import tempfile
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from assistant.prepare import grammars, library, prepare  # noqa: E402
from benchmarks.response_parts import measures  # noqa: E402
from benchmarks.response_parts.page import decision_to_page  # noqa: E402

ANSWERS = 36


def main() -> None:
    """Measure, print the table, write the results."""
    answers = int(sys.argv[1]) if len(sys.argv) > 1 else ANSWERS
    ready = prepare(library(), grammars(), "couple")
    began, load = time.monotonic(), os.getloadavg()[0]
    base = Path(tempfile.mkdtemp(prefix="hitchcall-response-"))
    parts = {name: base / name for name in ("start", "ours", "plain", "page", "cutting", "stopping", "listening")}
    for part in parts.values():
        part.mkdir()
    start = tell("start", measures.starting(parts["start"], ROOT))
    mine, texts = measures.ours(parts["ours"], ready, answers)
    tell("ours", mine)
    result = {
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, load {load:.1f} at the start, Python "
        + platform.python_version(),
        "start": start,
        "ours": mine,
        "baseline": tell("plain", measures.baseline(parts["plain"], ready, texts)),
        "decision_to_page": tell("page", measures.measured(decision_to_page(parts["page"], ready))),
        "cutting_in": tell("cutting in", measures.cutting_in(parts["cutting"], ready)),
        "stopping": tell("stopping", measures.stopping(parts["stopping"], ready)),
        "listening": tell("listening", measures.listening(parts["listening"])),
        "took_s": round(time.monotonic() - began),
    }
    text = table(result)
    print(text)
    out = ROOT / "benchmarks" / "results"
    out.mkdir(exist_ok=True)
    (out / "response.json").write_text(json.dumps(result, indent=2) + "\n")
    (out / "response.txt").write_text(text)
    shutil.rmtree(base, ignore_errors=True)


def tell(what: str, found: Mapping[str, Any]) -> Mapping[str, Any]:
    """Tell of each part as it ends, and return it."""
    print(f"{what}: {json.dumps(found)}", file=sys.stderr, flush=True)
    return found


def table(result: Mapping[str, Any]) -> str:
    """Return the results as lines for people, each beside its aim."""
    mine, plain, listen = result["ours"], result["baseline"], result["listening"]
    ratio = mine["to_first_sound"]["p50_ms"] / plain["to_first_sound"]["p50_ms"]

    def both(found: Mapping[str, Any]) -> str:
        return f"{found['p50_ms']} / {found['p95_ms']} ms" if found["n"] else "not measured"

    def memory(how: str) -> int:
        return sum(one[how] for one in listen["memory_mb"].values())

    rows = [
        ("end of word to first sound, p50 / p95", both(mine["to_first_sound"]), "<= 400 / 700 ms"),
        *((f"  {what}", both(found), "") for what, found in mine["parts"].items()),
        ("  ordinary answers", both(mine["ordinary"]), ""),
        ("  critical answers", both(mine["critical"]), ""),
        ("the plain way", both(plain["to_first_sound"]), ""),
        ("ours to the plain way, p50", f"{ratio:.2f}", "<= 0.4"),
        ("not understood, and said again", f"{mine['not_understood']}", ""),
        ("understood by the plain way", f"{plain['heard_right']} of {plain['to_first_sound']['n']}", ""),
        ("decision to page", both(result["decision_to_page"]), "p95 <= 50 ms"),
        ("cutting in, speech to silence", both(result["cutting_in"]), "<= 150 ms"),
        ("a stop over a hazard, word to silence", both(result["stopping"]), ""),
        ("listening, one core", f"{listen['core_percent']} %", "<= 20 %"),
        ("listening, memory, shared pages once", f"{memory('Pss')} MB", "<= 350 MB"),
        ("  shared pages in each process", f"{memory('Rss')} MB", ""),
        ("start to first spoken sample, warm", f"{result['start']['p50_s']} s", "<= 2 s"),
        ("  the slowest; the first of all, cold", f"{result['start']['most_s']}; {result['start']['first_s']} s", ""),
    ]
    lines = [f"{name:46}{value:>18}   {aim}".rstrip() for name, value, aim in rows]
    return "\n".join([f"Response, {result['machine']}, {result['took_s']} s", *lines]) + "\n"


if __name__ == "__main__":
    main()
