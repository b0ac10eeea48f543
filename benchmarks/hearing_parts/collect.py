"""Runs both ears, and the plain grammar, over the clips and keeps every raw finding, resumably."""

from __future__ import annotations

import hashlib
import json
import math
import multiprocessing
import time
import zlib
from collections.abc import Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pocketsphinx import Decoder, get_model_path

import assistant.ears
from assistant.ears.audio import dithered, measure
from assistant.ears.base import Samples
from assistant.ears.closed_set import Ranked, Weighed
from assistant.ears.evidence import Evidence
from assistant.ears.fusion import Pair
from assistant.ears.live_words import phrase_for, ways
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.utterances import Utterance, utterances
from assistant.ears.whisper import WhisperEar
from assistant.phrases.live import Live
from benchmarks.hearing_parts.material import Item, Material, sound_of

Record = dict[str, Any]
RAW = ("audio", "vad", "segmenter", "utterances", "features", "pieces", "number_search", "closed_set", "forced",
       "moonshine", "whisper", "evidence", "fusion")  # fmt: skip
"""The modules on which raw findings hang; the limits are not among them, so that they can be fitted on what is kept."""


def ears_hash() -> str:
    """Return one hash of what the raw findings hang on."""
    folder = Path(assistant.ears.__file__).parent
    return hashlib.sha256(b"".join((folder / f"{name}.py").read_bytes() for name in RAW)).hexdigest()[:12]


class PlainGrammar:
    """What a user would pick instead: a recogniser with a grammar of the phrases."""

    def __init__(self, pronounce: dict[str, Sequence[str]]) -> None:
        model = Path(get_model_path()) / "en-us"
        self._decoder = Decoder(
            hmm=str(model / "en-us"), dict=str(model / "cmudict-en-us.dict"), lm=None, loglevel="FATAL"
        )
        for word, sounds in pronounce.items():
            if self._decoder.lookup_word(word) is None:
                self._decoder.add_word(word, sounds[0], update=False)
        self._made: dict[tuple[str, ...], str] = {}

    def recognise(self, samples: Samples, live: Live) -> str:
        """Return the phrase that the grammar ends in."""
        key = tuple(sorted(ways(live)))
        if key not in self._made:
            self._made[key] = f"g{len(self._made)}"
            self._decoder.add_jsgf_string(self._made[key], grammar_of(live))
        self._decoder.activate_search(self._made[key])
        self._decoder.start_utt()
        self._decoder.process_raw(dithered(samples).tobytes(), full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return found.hypstr if found is not None else ""


def grammar_of(live: Live) -> str:
    """Return the live phrases as a grammar, without anything else."""
    return f"#JSGF V1.0; grammar live; public <live_phrase> = {' | '.join(sorted(ways(live)))};"


class Bench:
    """Everything one process needs."""

    def __init__(self, cache: Path, *, beside: bool) -> None:
        self.cache = cache
        self.material = Material()
        self.pair = Pair(MoonshineEar(), WhisperEar())
        self.plain = PlainGrammar(dict(self.material.book.pronounce)) if beside else None

    def run(self, item: Item) -> Record:
        """Return the record of one clip: each utterance found in it with both ears' raw findings."""
        sound = sound_of(item, self.cache / "voices")
        live = self.material.live(item.step, item.reading)
        self.pair.prepare(live)
        heard = [self._one(u, live) for u in utterances([sound])]
        plain = self.plain.recognise(sound, live) if self.plain is not None and len(sound) else ""
        return {
            "key": item.key, "group": item.group, "truth": item.truth, "human": item.human, "kind": item.kind,
            "voice": str(item.voice), "snr": item.snr, "noise": item.noise, "step": item.step,
            "reading": item.reading, "text": item.text, "made": len(sound) > 0, "seconds": len(sound) / 16_000,
            "heard": heard, "plain": phrase_for(plain, live), "plain_words": plain,
        }  # fmt: skip

    def _one(self, utterance: Utterance, live: Live) -> Record:
        begun, spent = time.perf_counter(), time.process_time()
        found = self.pair.evidence(utterance.samples, live)
        levels = measure(utterance.samples)
        noise = levels.noise_db if utterance.noise_db is None else max(utterance.noise_db, levels.noise_db)
        return {
            "evidence": asdict(found), "speech_db": levels.speech_db, "noise_db": noise,
            "clipped": levels.clipped, "too_long": utterance.too_long, "length": utterance.end - utterance.start,
            "took_s": time.perf_counter() - begun, "cpu_s": time.process_time() - spent,
        }  # fmt: skip


def evidence_of(heard: Record) -> Evidence:
    """Return the findings of one utterance as they were."""
    raw = dict(heard["evidence"])
    raw["ranked"] = tuple(Ranked(**one) for one in raw["ranked"])
    raw["weighed"] = tuple(Weighed(**one) for one in raw["weighed"])
    return Evidence(**raw)


_bench: Bench | None = None


def _begin(cache: Path, beside: bool) -> None:
    global _bench  # noqa: PLW0603 - one set of models a process
    _bench = Bench(cache, beside=beside)


def _work(item: Item) -> Record:
    if _bench is None:
        raise RuntimeError("the worker was not set up")
    return _bench.run(item)


def collect(
    items: Sequence[Item], cache: Path, name: str, *, beside: bool, processes: int, seconds: float = math.inf
) -> list[Record]:
    """Return the records of the items heard so far, hearing those not yet in ``<cache>/<name>-<ears>.jsonl``.

    With ``beside`` the plain grammar hears them too. After ``seconds`` no new clip is begun; the next run
    goes on from there. Clips come in a mixed order, so that a part of them is a fair cut of the whole.
    """
    cache.mkdir(parents=True, exist_ok=True)
    path = cache / f"{name}-{ears_hash()}.jsonl"
    done: dict[str, Record] = {}
    if path.exists():
        for line in path.read_text("utf-8").splitlines():
            record = json.loads(line)
            if record["made"]:  # what could not be spoken may be by now
                done[str(record["key"])] = record
    todo = sorted((i for i in items if i.key not in done), key=lambda item: zlib.crc32(item.key.encode()))
    if todo:
        context = multiprocessing.get_context("spawn")
        until = time.monotonic() + seconds
        pool = ProcessPoolExecutor(processes, context, _begin, (cache, beside))
        with path.open("a", encoding="utf-8") as out, pool:
            waiting = {pool.submit(_work, item) for item in todo[: 2 * processes]}
            rest = iter(todo[2 * processes :])
            while waiting:
                ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in ready:
                    record = future.result()
                    out.write(json.dumps(record) + "\n")
                    out.flush()
                    done[str(record["key"])] = record
                    if time.monotonic() < until and (item := next(rest, None)) is not None:
                        waiting.add(pool.submit(_work, item))
                print(f"{len(done)} of {len(items)} clips heard", end="\r", flush=True)
    return [done[item.key] for item in items if item.key in done]
