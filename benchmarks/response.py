"""How quickly the whole loop answers, beside what one would write first, in one run on one machine.

Question: is there a gap as in human talk (200 ms, Stivers et al., PNAS 2009), or a wait?
Real sound is fed in real time through a named pipe in the place of the microphone's device; the
loudspeaker is a clock that notes each first sample. A real loudspeaker adds its own buffer (60 ms).
Run: ``python benchmarks/response.py [answers]``; writes ``benchmarks/results/response.json`` and ``.txt``.
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from assistant.ears.choose import open_pair  # noqa: E402
from assistant.ears.fusion import Pair  # noqa: E402
from assistant.ears.microphone import MicrophoneEars  # noqa: E402
from assistant.ears.sphinx import SphinxEar  # noqa: E402
from assistant.engine.events import Heard, Measured  # noqa: E402
from assistant.engine.guide import reply  # noqa: E402
from assistant.engine.state import Phase  # noqa: E402
from assistant.journal.keys import tablet_key  # noqa: E402
from assistant.journal.records import Opened  # noqa: E402
from assistant.journal.writer import Writer  # noqa: E402
from assistant.phrases.numbers import say_reading  # noqa: E402
from assistant.prepare import Prepared, grammars, library, prepare  # noqa: E402
from assistant.session import Session, Shown  # noqa: E402
from assistant.voice.base import no_progress  # noqa: E402
from assistant.voice.cache import Cache  # noqa: E402
from assistant.voice.loudness import Manner, Settings  # noqa: E402
from assistant.voice.other_voices import other_voices  # noqa: E402
from assistant.voice.play import SpeakerVoice  # noqa: E402
from assistant.voice.speech import Speech  # noqa: E402
from assistant.voice.synth import Synth  # noqa: E402
from benchmarks.response_parts.baseline import Baseline  # noqa: E402
from benchmarks.response_parts.cab import Mouth, StampedSink, spoken_by  # noqa: E402
from benchmarks.response_parts.page import decision_to_page  # noqa: E402

ANSWERS = 40
REPLY = "Heard. Set the tractor parking brake."


class Loop:
    """A run of the real loop on the software cab."""

    def __init__(self, folder: Path, ready: Prepared, pair: Pair, *, headset: bool = False) -> None:
        self.ready, self.folder = ready, folder
        key = tablet_key(folder / "keys")
        opened = Opened(
            run="response", program="0", procedure="couple", rig=ready.plan.rig, site=ready.plan.site, lang="en",
            ears="mic", voice="speaker", files={}, consent_audio=False, consent_words=True, key=key.public,
        )  # fmt: skip
        self.writer = Writer.begin(folder / "logs", opened, key)
        self.mouth = Mouth(folder / "microphone")
        self.sink = StampedSink()
        speech = Speech(Synth(Cache(folder.parent / "voice"), Manner("en-us")), "en", Settings(Manner("en-us")))
        self.voice = SpeakerVoice(speech, self.sink)
        self.voice.prepare(sorted(set(ready.wording.fixed())), no_progress)
        self.ears = MicrophoneEars(pair, f"pipe:{self.mouth.path}")
        self.decided: list[float] = []
        self.session = Session(ready, self.writer, self.ears, self.voice, self._screen, headset=headset)
        self.thread = threading.Thread(target=self.session.run, daemon=True)

    def _screen(self, _shown: Shown) -> None:
        self.decided.append(time.monotonic())

    def start(self) -> None:
        """Begin, and let the first prompts pass."""
        self.thread.start()
        self.quiet()

    def quiet(self) -> None:
        """Wait until the voice has rung out, and as long as somebody takes to draw breath."""
        time.sleep(0.1)
        while self.voice.speaking:
            time.sleep(0.02)
        time.sleep(0.5)

    def words(self) -> str:
        """What the driver says next."""
        told = reply(self.ready.plan, self.session.state).event
        if isinstance(told, Measured):
            return say_reading(told.value, told.unit)
        assert isinstance(told, Heard)  # noqa: S101 - the guide says nothing else here
        return self.ready.wording.says(told.phrase)


def measured(values: Sequence[float]) -> dict[str, float]:
    """Return median, 95th percentile and count, in milliseconds."""
    ordered = sorted(values)
    at = min(len(ordered) - 1, int(len(ordered) * 0.95))
    return {"p50_ms": round(1000 * statistics.median(ordered)), "p95_ms": round(1000 * ordered[at]), "n": len(ordered)}


def ours(folder: Path, ready: Prepared, answers: int) -> tuple[dict[str, object], list[str]]:
    """Answer step after step by voice; time from the end of the last word to the first sample of the reply."""
    loop = Loop(folder, ready, open_pair(ready.book).pair)
    voices = other_voices("en")
    loop.start()
    first, plain, critical, texts, misses = [], [], [], [], 0
    for turn in range(answers):
        if loop.session.state.phase is Phase.OVER:
            break
        text, before = loop.words(), (loop.session.state, len(loop.sink.began))
        told = reply(ready.plan, loop.session.state).event
        heavy = isinstance(told, Heard) and told.phrase in ready.live(loop.session.state).critical
        sound = spoken_by(voices[turn % 2], text, folder)
        ended = loop.mouth.say(sound)
        until = time.monotonic() + 4
        while len(loop.sink.began) == before[1] and time.monotonic() < until:
            time.sleep(0.002)
        if len(loop.sink.began) > before[1] and loop.session.state != before[0]:
            took = loop.sink.began[before[1]] - ended
            first.append(took)
            (critical if heavy else plain).append(took)
            texts.append(text)
        else:
            misses += 1
        loop.quiet()
    loop.mouth.close()
    loop.ears.close()
    loop.voice.close()
    result = {
        "to_first_sound": measured(first), "ordinary": measured(plain), "not_understood": misses,
        "critical_with_second_ear": measured(critical) if critical else None,
    }  # fmt: skip
    return result, texts


def baseline(folder: Path, ready: Prepared, texts: Sequence[str]) -> dict[str, object]:
    """The same words to the same pipe, heard and answered the plain way."""
    mouth = Mouth(folder / "microphone")
    everything = sorted({ready.wording.says(phrase) for phrase in ready.book.phrases})
    plain = Baseline(folder, mouth, everything)
    voices = other_voices("en")
    took: list[float] = []
    right = 0
    for turn, text in enumerate(texts):
        sound = spoken_by(voices[turn % 2], text, folder)
        mouth.say(sound, wait=False)
        at, heard = plain.turn(REPLY, time.monotonic() + 12)
        if at:
            took.append(at - mouth.word_ended)
            right += heard == text
        time.sleep(0.3)
    plain.close()
    mouth.close()
    return {"to_first_sound": measured(took), "heard_right": right}


def cutting_in(folder: Path, ready: Prepared, times: int = 4) -> dict[str, object]:
    """With a headset: from the first sample of the driver's speech to the prompt's silence."""
    loop = Loop(folder, ready, Pair(SphinxEar(ready.book.decoys, ready.book.pronounce)), headset=True)
    loop.start()
    took: list[float] = []
    for _ in range(times):
        text = ready.wording.says("say-again")
        loop.mouth.say(spoken_by(other_voices("en")[0], text, folder))
        while not loop.voice.speaking:
            time.sleep(0.005)
        time.sleep(1.2)  # past the tone, into the prompt
        count = len(loop.sink.ended)
        loop.mouth.word_began = 0.0
        loop.mouth.say(spoken_by(other_voices("en")[1], ready.wording.says("stand-by"), folder), wait=False)
        until = time.monotonic() + 3
        while len(loop.sink.ended) == count and time.monotonic() < until:
            time.sleep(0.002)
        if len(loop.sink.ended) > count:
            took.append(loop.sink.ended[count] - loop.mouth.word_began)
        loop.quiet()
        loop.mouth.say(spoken_by(other_voices("en")[0], ready.wording.says("go-ahead"), folder))
        loop.quiet()
    loop.mouth.close()
    loop.ears.close()
    loop.voice.close()
    return measured(took)


def listening(folder: Path, seconds: float = 10.0) -> dict[str, object]:
    """Share of one core and memory while nobody speaks, pocketsphinx alone: a child, so that both are its own."""
    done = subprocess.run(
        [sys.executable, __file__, "--listen", str(folder), str(seconds)],
        capture_output=True, text=True, timeout=180, check=True,
    )  # fmt: skip
    return dict(json.loads(done.stdout.splitlines()[-1]))


def listen_here(folder: Path, seconds: float) -> None:
    """The child of ``listening``."""
    ready = prepare(library(), grammars(), "couple")
    loop = Loop(folder, ready, Pair(SphinxEar(ready.book.decoys, ready.book.pronounce)))
    loop.start()
    while loop.ears._process is None:
        time.sleep(0.1)
    pids = [os.getpid(), loop.ears._process.pid]
    used = [_cpu(pid) for pid in pids]
    time.sleep(seconds)
    share = sum(_cpu(pid) - before for pid, before in zip(pids, used, strict=True)) / seconds
    memory = {name: round(_memory(pid)) for name, pid in zip(("run", "microphone"), pids, strict=True)}
    print(json.dumps({"core_percent": round(100 * share, 1), "memory_mb": memory}))
    os._exit(0)


def _cpu(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _memory(pid: int) -> float:
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024


def starting(folder: Path) -> dict[str, float]:
    """From ``hitchcall run`` to its first line written by the voice, warm: the second time."""
    took = 0.0
    for attempt in range(2):
        mouth = Mouth(folder / f"microphone-{attempt}")
        said = folder / f"said-{attempt}"
        env = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "HITCHCALL_KEYS": str(folder / "keys")}
        began = time.monotonic()
        child = subprocess.Popen(
            [sys.executable, "-m", "assistant.cli", "run", "couple", "--ears", "mic", "--microphone",
             f"pipe:{mouth.path}", "--voice", f"file:{said}", "--logs", str(folder / f"logs-{attempt}")],
            cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        while not list(said.glob("*.wav")) and child.poll() is None and time.monotonic() - began < 60:
            time.sleep(0.01)
        took = time.monotonic() - began if list(said.glob("*.wav")) else float("nan")
        child.terminate()
        child.wait(20)
        mouth.close()
    return {"seconds": round(took, 2)}


def main() -> None:
    """Measure, print the table, write the results."""
    answers = int(sys.argv[1]) if len(sys.argv) > 1 else ANSWERS
    ready = prepare(library(), grammars(), "couple")
    load = os.getloadavg()[0]
    base = Path(tempfile.mkdtemp(prefix="hitchcall-response-"))
    parts = {name: base / name for name in ("ours", "baseline", "page", "cutting", "listening", "starting")}
    for part in parts.values():
        part.mkdir()
    mine, texts = ours(parts["ours"], ready, answers)
    print(json.dumps(mine), file=sys.stderr, flush=True)
    plain = baseline(parts["baseline"], ready, texts)
    print(json.dumps(plain), file=sys.stderr, flush=True)
    pages = decision_to_page(parts["page"], ready)
    result = {
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": f"{platform.machine()}, {os.cpu_count()} cores, load {load:.1f} at the start, Python "
        + platform.python_version(),
        "ours": mine,
        "baseline": plain,
        "ratio_p50": round(mine["to_first_sound"]["p50_ms"] / plain["to_first_sound"]["p50_ms"], 2),  # type: ignore[index]
        "decision_to_page": measured(pages) if pages else None,
        "cutting_in": cutting_in(parts["cutting"], ready),
        "listening": listening(parts["listening"]),
        "start": starting(parts["starting"]),
    }
    text = table(result)
    print(text)
    out = ROOT / "benchmarks" / "results"
    out.mkdir(exist_ok=True)
    (out / "response.json").write_text(json.dumps(result, indent=2) + "\n")
    (out / "response.txt").write_text(text)
    shutil.rmtree(base, ignore_errors=True)


def table(result: dict[str, object]) -> str:
    """Return the results as lines for people, each beside its aim."""
    mine, plain = result["ours"]["to_first_sound"], result["baseline"]["to_first_sound"]  # type: ignore[index]
    heavy = result["ours"]["critical_with_second_ear"] or {"p50_ms": "-", "p95_ms": "-"}  # type: ignore[index]
    page = result["decision_to_page"] or {"p50_ms": "-", "p95_ms": "-"}
    cut, listen, start = result["cutting_in"], result["listening"], result["start"]
    rows = [
        ("end of word to first sound, p50", f"{mine['p50_ms']} ms", "<= 400 ms"),
        ("end of word to first sound, p95", f"{mine['p95_ms']} ms", "<= 700 ms"),
        ("  of these, critical answers, p50 / p95", f"{heavy['p50_ms']} / {heavy['p95_ms']} ms", ""),
        ("the plain way, p50 / p95", f"{plain['p50_ms']} / {plain['p95_ms']} ms", ""),
        ("ours to the plain way, p50", f"{result['ratio_p50']}", "<= 0.4"),
        ("decision to page, p50 / p95", f"{page['p50_ms']} / {page['p95_ms']} ms", "<= 50 ms"),  # type: ignore[index]
        ("cutting in, speech to silence, p50 / p95", f"{cut['p50_ms']} / {cut['p95_ms']} ms", "<= 150 ms"),  # type: ignore[index]
        ("listening, one core", f"{listen['core_percent']} %", "<= 20 %"),  # type: ignore[index]
        ("listening, memory", f"{sum(listen['memory_mb'].values())} MB", "<= 350 MB"),  # type: ignore[index]
        ("start to first spoken line, warm", f"{start['seconds']} s", "<= 2 s"),  # type: ignore[index]
    ]
    lines = [f"{name:44}{value:>18}   {aim}".rstrip() for name, value, aim in rows]
    return "\n".join([f"Response, {result['machine']}", *lines]) + "\n"


if __name__ == "__main__":
    if sys.argv[1:2] == ["--listen"]:
        listen_here(Path(sys.argv[2]), float(sys.argv[3]))
    main()
