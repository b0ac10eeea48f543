"""What is measured of the loop, each in a loop of its own."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from assistant.ears.choose import open_pair
from assistant.engine.events import Heard
from assistant.engine.state import Phase
from assistant.prepare import Prepared
from assistant.voice.other_voices import other_voices
from assistant.voice.play_child import LATENCY_SECONDS
from benchmarks.response_parts.baseline import Baseline
from benchmarks.response_parts.cab import Card, Mouth, spoken_by
from benchmarks.response_parts.loop import Loop

ROOT = Path(__file__).resolve().parents[2]
REPLY = "Heard. Set the tractor parking brake."
PARTS = (
    ("until the ears are asked", "spoken", "paused"),
    ("until both ears have judged", "paused", "heard"),
    ("until the pause is long enough and the decision in the log", "heard", "logged"),
    ("until the player hands over the first sample", "logged", "played"),
)
"""Parts of the delay: what each is, from and to which moment."""


def measured(values: Sequence[float]) -> dict[str, float]:
    """Return median, 95th percentile and count, in milliseconds."""
    if not values:
        return {"p50_ms": -1, "p95_ms": -1, "n": 0}
    ordered = sorted(values)
    at = min(len(ordered) - 1, int(len(ordered) * 0.95))
    return {"p50_ms": round(1000 * statistics.median(ordered)), "p95_ms": round(1000 * ordered[at]), "n": len(ordered)}


def until(found: Callable[[], float], seconds: float) -> float:
    """Wait for a moment to be known; 0.0 when it is not in time."""
    end = time.monotonic() + seconds
    while not (at := found()) and time.monotonic() < end:
        time.sleep(0.01)
    return at


def ours(folder: Path, ready: Prepared, answers: int) -> tuple[dict[str, object], list[str]]:
    """Answer step after step by voice; time from the end of the last word to the first sample of the reply."""
    loop = Loop(folder / "run", ready, open_pair(ready.book).pair)
    voices = other_voices("en")
    loop.start()
    rows: list[tuple[bool, dict[str, float]]] = []
    texts, misses = [], 0
    for turn in range(answers):
        if loop.session.state.phase is Phase.OVER:
            break
        told, before = loop.next(), loop.session.state
        text = loop.words(told)
        heavy = isinstance(told, Heard) and told.phrase in ready.live(before).critical
        sound = spoken_by(voices[turn % 2], text, folder)
        loop.at = {}
        ended = loop.mouth.say(sound)
        heard = until(lambda ended=ended: loop.card.heard(ended), 4)
        if heard and loop.session.state != before:
            rows.append((heavy, {**loop.at, "spoken": ended, "played": heard - LATENCY_SECONDS}))
            texts.append(text)
        else:
            misses += 1
        loop.hush()
    loop.close()
    took = {kind: [at["played"] - at["spoken"] for heavy, at in rows if heavy in kind] for kind in ((0, 1), (0,), (1,))}
    return {
        "to_first_sound": measured(took[0, 1]), "ordinary": measured(took[0,]), "critical": measured(took[1,]),
        "not_understood": misses,
        "parts": {what: measured([at[to] - at[since] for _, at in rows]) for what, since, to in PARTS},
    }, texts  # fmt: skip


def baseline(folder: Path, ready: Prepared, texts: Sequence[str]) -> dict[str, object]:
    """The same words to the same pipe, heard and answered the plain way."""
    mouth = Mouth(folder / "microphone")
    everything = sorted({ready.wording.says(phrase) for phrase in ready.book.phrases})
    plain = Baseline(folder, mouth, everything)
    voices = other_voices("en")
    took: list[float] = []
    right = 0
    for turn, text in enumerate(texts):
        mouth.say(spoken_by(voices[turn % 2], text, folder), wait=False)
        at, heard = plain.turn(REPLY, time.monotonic() + 12)
        if at:
            took.append(at - mouth.word_ended)
            right += heard == text
        time.sleep(0.3)
    plain.close()
    mouth.close()
    return {"to_first_sound": measured(took), "heard_right": right}


def cutting_in(folder: Path, ready: Prepared, times: int = 8) -> Mapping[str, float]:
    """With a headset: from the first sample of the driver's speech to the prompt's silence at the loudspeaker."""
    loop = Loop(folder / "run", ready, open_pair(ready.book).pair, headset=True)
    voices = other_voices("en")
    loop.start()
    took: list[float] = []
    for turn in range(times):
        began = time.monotonic()
        loop.mouth.say(spoken_by(voices[0], ready.wording.says("say-again"), folder))
        if not until(lambda began=began: loop.card.heard(began), 4):
            continue
        time.sleep(0.8)  # into the prompt
        began = time.monotonic()
        loop.mouth.say(spoken_by(voices[turn % 2], ready.wording.says("say-again"), folder), wait=False)
        silent = until(lambda began=began: loop.card.silent(began), 3)
        if silent:
            took.append(silent - loop.mouth.word_began)
        time.sleep(1.5)
        loop.hush()
    loop.close()
    return measured(took)


def stopping(folder: Path, ready: Prepared, times: int = 4) -> Mapping[str, float]:
    """A stop called over a hazard: from the end of the word to silence at the loudspeaker."""
    took: list[float] = []
    for turn in range(times):
        loop = Loop(folder / f"run-{turn}", ready, open_pair(ready.book).pair, headset=True)
        loop.thread.start()
        until(lambda loop=loop: loop.card.heard(0.0), 10)
        time.sleep(0.5)  # into the cautions, which take seven seconds
        ended = loop.mouth.say(spoken_by(other_voices("en")[turn % 2], "stop", folder))
        silent = until(lambda loop=loop, ended=ended: loop.card.silent(ended), 10)
        took += [silent - ended] if silent and loop.session.state.phase is Phase.STOPPED else []
        loop.voice.halt()
        loop.close()
    return measured(took)


def listening(folder: Path, seconds: float = 10.0) -> dict[str, object]:
    """Share of one core and memory while nobody speaks, both ears loaded: a child, so that both are its own."""
    command = [sys.executable, "-m", "benchmarks.response_parts.listen", str(folder), str(seconds)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=True, cwd=ROOT)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def starting(folder: Path, root: Path, times: int = 3) -> dict[str, float]:
    """From ``hitchcall run`` to its first word at the loudspeaker, with a warm cache: the best and worst of some."""
    took = []
    for attempt in range(times + 1):
        card, mouth = Card(folder), Mouth(folder / f"microphone-{attempt}")
        env = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "HITCHCALL_KEYS": str(folder / "keys")}
        began = time.monotonic()
        child = subprocess.Popen(
            [sys.executable, "-m", "assistant.cli", "run", "couple", "--ears", "mic", "--microphone",
             f"pipe:{mouth.path}", "--voice", "speaker", "--logs", str(folder / f"logs-{attempt}")],
            cwd=root, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        heard = until(lambda began=began, card=card: card.heard(began), 60)
        took.append(heard - began if heard else float("nan"))
        if not attempt:  # the first fills the cache: give it time to make all prompts
            time.sleep(12)
        child.terminate()
        child.wait(20)
        mouth.close()
    warm = took[1:]
    return {"first_s": round(took[0], 2), "p50_s": round(statistics.median(warm), 2), "most_s": round(max(warm), 2)}
