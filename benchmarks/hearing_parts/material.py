"""What is said in the benchmark: the shipped phrases with a step's set live, talk, numbers, people."""

from __future__ import annotations

import random
import tomllib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from assistant.ears.audio import read_wav
from assistant.engine.commands import SESSION_PHRASES
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.live import Live
from assistant.phrases.numbers import sample
from assistant.shipped import shipped
from benchmarks.hearing_parts import noises, talk
from benchmarks.hearing_parts.voices import FIT_VOICES, REPORT_VOICES, SPEECH_RMS, Voice, level, say

STOP = "emergency-stop"
LEAD, TRAIL = 0.7, 0.9  # seconds of noise before and after the speech
NOISE_NAMES = ("idle", "idle", "wind", "rain", "hiss", "alarm", "babble", "echo", "glove")
READING_KINDS = ("pressure", "length")
Samples = NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Item:
    """One clip: what is said (or the file), by whom, over which noise, and the truth.

    ``truth`` is a phrase id, a number's words, or "" for what must be refused. ``step`` indexes the
    live sets; ``file`` is set for human recordings (several joined by "|").
    """

    group: str
    truth: str
    text: str
    voice: Voice | None
    snr: float | None
    noise: str
    step: int
    reading: str = ""
    file: str = ""

    @property
    def key(self) -> str:
        """A name that tells this clip from every other."""
        return "/".join(
            str(part)
            for part in (self.group, self.truth, self.text, self.voice, self.snr, self.noise, self.step, self.file)
        )

    @property
    def human(self) -> bool:
        """Whether a person speaks."""
        return bool(self.file)


@dataclass(frozen=True, slots=True)
class Step:
    """A step's answers and which of them are critical."""

    answers: tuple[str, ...]
    critical: tuple[str, ...]


class Material:
    """The shipped phrases and steps, and the clips made from them."""

    def __init__(self) -> None:
        self.book: PhraseBook = load_book(shipped("grammars"), "en")
        folder = shipped("procedures")
        yard = tomllib.loads((folder / "yard.toml").read_text("utf-8"))
        procedure = tomllib.loads((folder / "couple" / "procedure.toml").read_text("utf-8"))
        self.always = self._known([*sorted(SESSION_PHRASES), *_announcements(yard)])
        found = {
            Step(
                self._known(a["phrase"] for a in step.get("answer", [])),
                self._known(a["phrase"] for a in step.get("answer", []) if a.get("critical")),
            )
            for step in procedure["step"]
        }
        self.steps = sorted((step for step in found if step.answers), key=lambda s: s.answers)

    def live(self, step: int, reading: str = "") -> Live:
        """Return what is live at a step: its answers, the announcements and the session words."""
        answers = self.steps[step]
        ids = dict.fromkeys([*answers.answers, *self.always])
        return self.book.live(ids, critical=answers.critical, emergency=[STOP], reading=reading or None)

    def _known(self, ids: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for name in ids if name in self.book.phrases))

    def spoken(self, voices: Sequence[Voice], sentences: Sequence[str], snrs: Sequence[float | None], seed: int,
               *, share: float = 1.0) -> Iterator[Item]:  # fmt: skip
        """Yield clips of synthetic speakers; ``share`` thins them out evenly."""
        chance = random.Random(seed)  # noqa: S311 - repeatable, no secret
        for voice in voices:
            for snr in snrs:
                for group, truth, text, step, reading in self._lines(chance, sentences):
                    if chance.random() < share:
                        noise = chance.choice(NOISE_NAMES)
                        yield Item(group, truth, text, voice, snr, noise, step, reading)

    def _lines(self, chance: random.Random, sentences: Sequence[str]) -> Iterator[tuple[str, str, str, int, str]]:
        steps = range(len(self.steps))
        for index in steps:
            for answer in self.steps[index].answers:
                kind = "critical" if answer in self.steps[index].critical else "answer"
                yield kind, answer, chance.choice(self.book.says(answer)), index, ""
        for phrase in self.always:
            kind = "emergency" if phrase == STOP else "always"
            for text in self.book.says(phrase) if phrase == STOP else [chance.choice(self.book.says(phrase))]:
                yield kind, phrase, text, chance.choice(steps), ""
        for text in sentences:
            yield "talk", "", text, chance.choice(steps), ""
        for _ in range(12):
            kind = chance.choice(READING_KINDS)
            text = sample(kind, chance)
            yield "reading", text, text, chance.choice(steps), kind

    def people(self, folder: Path, half: int, snrs: Sequence[float | None]) -> Iterator[Item]:
        """Yield human words and digits; ``half`` 0 to fit on and 1 to report, by take."""
        chance = random.Random(half)  # noqa: S311 - repeatable, no secret
        steps = range(len(self.steps))
        for snr in snrs:
            for word in ("stop", "front", "back", "left", "right"):
                for path in sorted((folder / "words" / word).glob("*.wav"))[half::2]:
                    truth, group = (STOP, "emergency") if word == "stop" else ("", "talk")
                    yield Item(group, truth, word, None, snr, "idle", chance.choice(steps), file=str(path))
        takes = _digit_takes(folder / "digits", half)
        for index in range(60 if takes else 0):
            speaker = chance.choice(sorted({s for _, s in takes}))
            digits = [chance.randint(1, 9), chance.randint(0, 9), chance.randint(0, 9)]
            files = [chance.choice(takes[(d, speaker)]) for d in digits]
            words = " ".join(DIGIT_WORDS[d] for d in digits)
            snr = snrs[index % len(snrs)]
            yield Item("reading", words, f"{words} {speaker}", None, snr, "idle", 0, "pressure", "|".join(files))

    def read_speech(self, folder: Path) -> Iterator[Item]:
        """Yield read-aloud book passages; every utterance in them must be refused."""
        for path in sorted(folder.rglob("sense_and_sensibility*.wav")):
            for step in range(0, len(self.steps), 5):
                yield Item("talk", "", path.stem, None, None, "idle", step, file=str(path))


DIGIT_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _digit_takes(folder: Path, half: int) -> dict[tuple[int, str], list[str]]:
    takes: dict[tuple[int, str], list[str]] = {}
    for path in sorted(folder.glob("*.wav")):
        digit, speaker, take = path.stem.split("_")
        if int(take) % 2 == half:
            takes.setdefault((int(digit), speaker), []).append(str(path))
    return takes


def _announcements(yard: dict[str, object]) -> list[str]:
    acts = yard.get("acts")
    return [str(act["announce"]) for act in acts.values() if act.get("announce")] if isinstance(acts, dict) else []


def fit_items(material: Material, speech: Path | None, share: float) -> list[Item]:
    """Return the clips on which limits are fitted."""
    items = list(material.spoken(FIT_VOICES, talk.FIT_TALK, (20.0, 10.0, 5.0), 1, share=share))
    return items + (list(material.people(speech, 0, (None, 10.0))) if speech else [])


def report_items(material: Material, speech: Path | None, reading: Path | None, share: float) -> list[Item]:
    """Return the clips of the report: other voices, other sentences, other takes."""
    items = list(material.spoken(REPORT_VOICES, talk.REPORT_TALK, (20.0, 10.0, 5.0), 2, share=share))
    items += list(material.people(speech, 1, (None, 10.0))) if speech else []
    return items + (list(material.read_speech(reading)) if reading else [])


def sound_of(item: Item, cache: Path) -> Samples:
    """Return the clip itself, with noise before, under and after the speech; empty when it cannot be made."""
    g = noises.rng(item.key)
    speech = _joined(item.file) if item.file else say(item.text, item.voice or REPORT_VOICES[0], cache)
    if len(speech) == 0:
        return np.zeros(0, np.int16)
    if item.noise == "echo":
        speech = noises.echo(speech, g)
    elif item.noise == "glove":
        speech = noises.glove(speech)
    rate = noises.RATE
    clip = np.concatenate([np.zeros(int(LEAD * rate)), speech, np.zeros(int(TRAIL * rate))])
    return noises.mix(clip, _noise(item, len(clip), g, cache), item.snr, SPEECH_RMS)


def _noise(item: Item, count: int, g: noises.Rng, cache: Path) -> NDArray[np.float64]:
    if item.noise == "babble":
        talkers = [say(talk.FIT_TALK[i], voice, cache) for i, voice in zip((3, 8, 14, 21), FIT_VOICES[:4], strict=True)]
        return noises.babble(count, g, [t for t in talkers if len(t)])
    return noises.NOISES.get(item.noise, noises.idle)(count, g)


def _joined(files: str) -> NDArray[np.float64]:
    parts: list[NDArray[np.float64]] = []
    for name in files.split("|"):
        parts += [level(read_wav(Path(name))), np.zeros(int(0.12 * noises.RATE))]
    return np.concatenate(parts)
