"""A process that only listens, so that what it takes is its own: prints its share of a core and its memory.

    python -m benchmarks.response_parts.listen FOLDER SECONDS

The microphone's process imports this module again, as it imports the command's own; neither needs more.
"""

# ruff: noqa: PLC0415 - the microphone's process imports this module, and must not get the rest with it

import sys

SETTLE_S = 8.0  # the microphone's process starts, the ears get to know the step's phrases: once


def main(folder: str, seconds: float) -> None:
    """Listen to a quiet yard and say what that took."""
    import json
    import os
    import time
    from pathlib import Path

    from assistant.ears.choose import open_pair
    from assistant.prepare import grammars, library, prepare
    from benchmarks.response_parts.loop import Loop

    def spent(pid: int) -> float:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def memory(pid: int, what: str) -> float:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith(f"{what}:")) / 1024

    ready = prepare(library(), grammars(), "couple")
    loop = Loop(Path(folder) / "run", ready, open_pair(ready.book).pair)
    loop.start()
    while loop.ears._process is None:
        time.sleep(0.1)
    time.sleep(SETTLE_S)
    pids = [os.getpid(), loop.ears._process.pid]
    before = [spent(pid) for pid in pids]
    time.sleep(seconds)
    share = sum(spent(pid) - was for pid, was in zip(pids, before, strict=True)) / seconds
    # A page that both processes share counts once: half to each. Counted twice ("resident") it is more.
    names = zip(("run", "microphone"), pids, strict=True)
    told = {name: {what: round(memory(pid, what)) for what in ("Pss", "Rss")} for name, pid in names}
    print(json.dumps({"core_percent": round(100 * share, 1), "memory_mb": told}))
    sys.stdout.flush()
    loop.sink.close()
    os._exit(0)


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]))
