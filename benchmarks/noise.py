"""Hear hours of noise, babble and read speech, and count what is taken for an answer; watch memory too.

    python -m benchmarks.noise --hours 2 --reading POCKETSPHINX_SOURCE/test/data

The sound is made as it is needed, minute by minute: the noises of the hearing benchmark at the level of
speech, four people talking at once, everyday sentences by synthetic voices (natural ones too, where
``python -m benchmarks.speakers`` has fetched them), and read-aloud book passages where the folder of them is named.
It goes through the same detector, cutter and ears as a microphone's, with the phrases of one step of a coupling
after the other live. Nothing of it is meant for the assistant.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import random
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path

import numpy as np

from assistant.ears.audio import read_wav
from assistant.ears.base import Samples
from assistant.ears.choose import open_pair
from assistant.ears.utterances import Cutter
from benchmarks.hearing import machine
from benchmarks.hearing_parts import noises, talk
from benchmarks.hearing_parts.material import STOP, Material
from benchmarks.hearing_parts.voices import REPORT_NEURAL, REPORT_VOICES, SPEECH_RMS, Voice, level, present, say

ROOT = Path(__file__).resolve().parents[1]
MINUTE = 60 * noises.RATE
KEPT_EVERY = 30  # minutes of sound: what was heard until then stands beside the result, should it be broken off
KINDS = (*noises.NOISES, "babble", "sentences", "read speech")


@cache
def talkers() -> list[Voice]:
    """Return the speakers that are there, natural ones among them; none on which the limits were fitted."""
    return present(*REPORT_VOICES, *REPORT_NEURAL)


def minute(kind: str, number: int, kept: Path, reading: list[Path]) -> Samples:
    """Return one minute of a kind of sound that is no answer."""
    g, chance = noises.rng(kind, number), random.Random(number)  # noqa: S311 - repeatable, no secret
    if kind in noises.NOISES:
        sound = noises.NOISES[kind](MINUTE, g) * SPEECH_RMS
    elif kind == "babble":
        four = chance.sample(talkers(), min(4, len(talkers())))
        said = [say(chance.choice(talk.REPORT_TALK), voice, kept) for voice in four]
        sound = noises.babble(MINUTE, g, [one for one in said if len(one)]) * SPEECH_RMS
    else:
        quiet = noises.idle(MINUTE, g) * SPEECH_RMS * 10 ** (-chance.choice((20, 10)) / 20)
        sound = quiet + _speech(kind, chance, kept, reading)
    return np.clip(sound * 32_767, -32_768, 32_767).astype(np.int16)


def _speech(kind: str, chance: random.Random, kept: Path, reading: list[Path]) -> noises.Floats:
    """Return a minute of talk, one after the other."""
    out, at = np.zeros(MINUTE), 0
    while at < MINUTE:
        if kind == "read speech" and reading:
            part = level(read_wav(chance.choice(reading)))
        else:
            part = say(chance.choice(talk.REPORT_TALK), chance.choice(talkers()), kept)
        piece = part[: MINUTE - at]
        out[at : at + len(piece)] = piece
        at += len(part) + int(chance.uniform(0.4, 2.5) * noises.RATE)
    return out


def minutes(hours: float, kept: Path, reading: list[Path]) -> Iterator[tuple[str, Samples]]:
    """Yield (kind, one minute of sound); made in another process, so that the memory told of is that of the ears."""
    count = round(hours * 60)
    kinds = [KINDS[number % len(KINDS)] for number in range(count)]
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as maker:
        made = [maker.submit(minute, kinds[0], 0, kept, reading)]
        for number, kind in enumerate(kinds):
            if number + 1 < count:
                made.append(maker.submit(minute, kinds[number + 1], number + 1, kept, reading))
            yield kind, made.pop(0).result()


def resident_mb() -> float:
    """Return this process's resident memory."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6


def main() -> None:
    """Listen, count, and write the result."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=2.0)
    parser.add_argument("--reading", type=Path, help="folder with the read-aloud passages of pocketsphinx's source")
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "results" / "noise.json")
    wish = parser.parse_args()
    reading = sorted(wish.reading.rglob("*sense_and_sensibility*.wav")) if wish.reading else []
    material, cutter = Material(), Cutter()
    pair = open_pair(material.book).pair
    heard: dict[str, Counter[str]] = {kind: Counter() for kind in KINDS}
    taken: list[str] = []
    memory: list[float] = []
    part = wish.out.with_suffix(".part")
    with tempfile.TemporaryDirectory() as folder:
        for number, (kind, sound) in enumerate(minutes(wish.hours, Path(folder), reading)):
            live = material.lives[number % len(material.lives)]
            for utterance in cutter.feed(sound):
                found = pair.hear(utterance, live)
                what = "stop" if found.phrase == STOP else "answer" if found.phrase or found.reading else "refused"
                heard[kind][what] += 1
                if what != "refused":
                    taken.append(f"minute {number}, {kind}: {found.phrase or found.reading} for {found.ears}")
            memory.append(round(resident_mb()))
            print(f"{number + 1} minutes, {sum(map(Counter.total, heard.values()))} utterances", end="\r", flush=True)
            if len(memory) % KEPT_EVERY == 0:
                part.write_text(result(heard, taken, memory, len(reading)), "utf-8")
    whole = result(heard, taken, memory, len(reading))
    print(whole)
    wish.out.write_text(whole, "utf-8")
    part.unlink(missing_ok=True)


def result(heard: dict[str, Counter[str]], taken: list[str], memory: list[float], passages: int) -> str:
    """Return what came of the sound so far, as JSON."""
    told = {
        "what": "sound that is no answer", **machine(), "hours": round(len(memory) / 60, 2), "read_passages": passages,
        "talkers": [str(voice) for voice in talkers()],
        "answers": sum(kind["answer"] for kind in heard.values()),
        "stops": sum(kind["stop"] for kind in heard.values()),
        "utterances": {kind: dict(counts) for kind, counts in heard.items()}, "taken": taken,
        "memory_mb": {"first_half": max(memory[: (len(memory) + 1) // 2]), "all": max(memory), "last": memory[-1]},
        "processor_s": round(time.process_time()),
    }  # fmt: skip
    return json.dumps(told, indent=1) + "\n"


if __name__ == "__main__":
    main()
