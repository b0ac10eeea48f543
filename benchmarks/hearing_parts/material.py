"""What is said in the benchmark: the shipped phrases with a step's set live, talk, numbers, people."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from assistant.ears.audio import read_wav
from assistant.engine.commands import SESSION_PHRASES
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Live
from assistant.phrases.numbers import sample
from assistant.prepare import grammars, library, prepare
from benchmarks.hearing_parts import noises, talk, voices
from benchmarks.hearing_parts.talk import Talk
from benchmarks.hearing_parts.voices import SPEECH_RMS, Voice, level, present, say

STOP = "emergency-stop"
LEAD, TRAIL = 0.7, 0.9  # seconds of noise before and after the speech
NOISE_NAMES = ("idle", "idle", "wind", "rain", "hiss", "alarm", "babble", "echo", "glove")
FIT_SNRS = (20.0, 10.0, 5.0)
REPORT_SNRS = (None, 20.0, 10.0, 5.0, 0.0)
SAYS = "/"  # between the speaker and the recording's name, where a person says no answer
READING_KINDS = ("pressure", "length")
Samples = NDArray[np.int16]
Line = TypeVar("Line")


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

    @property
    def kind(self) -> str:
        """Whose voice it is: ``human``, ``neural`` or ``synthetic``."""
        return self.voice.kind if self.voice is not None else "human"


@dataclass(frozen=True, slots=True)
class Counts:
    """How many lines of each kind one speaker says at one noise level.

    ``elsewhere`` are phrases of the book that do not count at the step where they are said, ``more``
    phrases that count with more said around them.
    """

    answer: int = 12
    critical: int = 6
    always: int = 5
    stop: int = 2
    elsewhere: int = 8
    talk: int = 6
    more: int = 10
    reading: int = 3

    def times(self, factor: int) -> Counts:
        """Return ``factor`` times as many of each."""
        return Counts(**{name: factor * count for name, count in asdict(self).items()})


class Material:
    """The shipped phrases, what is live at each step of a coupling, and the clips made from them."""

    def __init__(self) -> None:
        ready = prepare(library(), grammars(), "couple")
        self.book: PhraseBook = ready.book
        self.lives: list[Live] = [ready.live(state) for _, state in ready.step_states()]
        self._announcements = frozenset(ready.plan.by_announcement)
        said = [(step, phrase) for step, live in enumerate(self.lives) for phrase in live.phrases]
        own = [(s, p) for s, p in said if p not in SESSION_PHRASES and p not in self._announcements]
        self._critical = [(s, p) for s, p in own if p in self.lives[s].critical]
        self._answers = [(s, p) for s, p in own if p not in self.lives[s].critical]

    def live(self, step: int, reading: str = "") -> Live:
        """Return what is live at a step."""
        return replace(self.lives[step], reading=reading or None)

    def live_of(self, record: Mapping[str, Any]) -> Live:
        """Return what was live where a clip's record was made."""
        return self.live(int(record["step"]), str(record["reading"]))

    def spoken(
        self, speakers: Sequence[Voice], speech: Talk, snrs: Sequence[float | None], seed: int, counts: Counts
    ) -> Iterator[Item]:
        """Yield clips of synthetic speakers."""
        chance = random.Random(seed)  # noqa: S311 - repeatable, no secret
        for voice, snr, line in _at_levels(speakers, snrs, lambda: self._lines(chance, speech, counts)):
            group, truth, text, step, reading = line
            yield Item(group, truth, text, voice, snr, _noise_for(snr, chance), step, reading)

    def more(
        self, speakers: Sequence[Voice], speech: Talk, snrs: Sequence[float | None], seed: int, counts: Counts
    ) -> Iterator[Item]:
        """Yield clips of phrases that count with more said around them."""
        chance = random.Random(seed)  # noqa: S311 - repeatable, no secret
        for voice, snr, line in _at_levels(speakers, snrs, lambda: self._around(chance, speech, counts.more)):
            step, text = line
            yield Item("more", "", text, voice, snr, _noise_for(snr, chance), step)

    def _around(self, chance: random.Random, speech: Talk, count: int) -> Iterator[tuple[int, str]]:
        for step, phrase in chance.choices(self._answers + self._critical, k=count):
            yield step, chance.choice(speech.around).format(chance.choice(self.book.says(phrase)))

    def _lines(
        self, chance: random.Random, speech: Talk, counts: Counts
    ) -> Iterator[tuple[str, str, str, int, str]]:
        say = self.book.says
        steps = range(len(self.lives))
        for step, phrase in chance.choices(self._answers, k=counts.answer):
            yield "answer", phrase, chance.choice(say(phrase)), step, ""
        for step, phrase in chance.choices(self._critical, k=counts.critical):
            yield "critical", phrase, chance.choice(say(phrase)), step, ""
        for step in chance.choices(steps, k=counts.always):
            always = (SESSION_PHRASES | self._announcements) & self.lives[step].phrases.keys()
            phrase = chance.choice(sorted(always - {STOP}))
            yield "always", phrase, chance.choice(say(phrase)), step, ""
        for step in chance.choices(steps, k=counts.stop):
            yield "emergency", STOP, chance.choice(say(STOP)), step, ""
        for step in chance.choices(steps, k=counts.elsewhere):
            phrase = chance.choice(sorted(self.book.phrases.keys() - self.lives[step].phrases.keys()))
            yield "elsewhere", "", chance.choice(say(phrase)), step, ""
        for text in chance.choices(speech.sentences, k=counts.talk):
            yield "talk", "", text, chance.choice(steps), ""
        for step in chance.choices(steps, k=counts.reading):
            kind = chance.choice(READING_KINDS)
            text = sample(kind, chance)
            yield "reading", text, text, step, kind

    def people(self, folder: Path, half: int, snrs: Sequence[float | None]) -> Iterator[Item]:
        """Yield human words and digits; ``half`` 0 to fit on and 1 to report, by take."""
        chance = random.Random(half)  # noqa: S311 - repeatable, no secret
        steps = range(len(self.lives))
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
            for step in range(0, len(self.lives), 5):
                yield Item("talk", "", path.stem, None, None, "idle", step, file=str(path))

    def talk_of_people(self, folder: Path, half: int) -> Iterator[Item]:
        """Yield further recordings of people, none of them an answer: every other one as it is, the rest in noise.

        A folder holds one speaker; ``half`` 0 is to fit on and 1 to report, by speaker.
        """
        chance = random.Random(2)  # noqa: S311 - repeatable, no secret
        steps = range(len(self.lives))
        for speaker in sorted(path for path in folder.iterdir() if path.is_dir())[half::2]:
            for index, path in enumerate(sorted(speaker.glob("*.wav"))):
                snr, noise = ((None, "idle"), (10.0, chance.choice(NOISE_NAMES)))[index % 2]
                text = f"{speaker.name}{SAYS}{path.stem}"
                yield Item("talk", "", text, None, snr, noise, chance.choice(steps), file=str(path))


def only_talks(text: str) -> bool:
    """Whether a clip's text names a recording of a person who says no answer (`Material.talk_of_people`)."""
    return SAYS in text


DIGIT_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def _digit_takes(folder: Path, half: int) -> dict[tuple[int, str], list[str]]:
    takes: dict[tuple[int, str], list[str]] = {}
    for path in sorted(folder.glob("*.wav")):
        digit, speaker, take = path.stem.split("_")
        if int(take) % 2 == half:
            takes.setdefault((int(digit), speaker), []).append(str(path))
    return takes


def _noise_for(snr: float | None, chance: random.Random) -> str:
    return "idle" if snr is None else chance.choice(NOISE_NAMES)


def _at_levels(
    speakers: Sequence[Voice], snrs: Sequence[float | None], draw: Callable[[], Iterable[Line]]
) -> Iterator[tuple[Voice, float | None, Line]]:
    """Yield what each speaker says at each noise level; a natural one, slow to make, says the same at every one."""
    for voice in speakers:
        lines = list(draw())
        for snr in snrs:
            if voice.kind == "synthetic":
                lines = list(draw())
            for line in lines:
                yield voice, snr, line


def spoken_by(
    material: Material, wanted: Sequence[Voice], speech: Talk, snrs: Sequence[float | None], seed: int, counts: Counts
) -> list[Item]:
    """Return the clips of those of the voices that are there."""
    found = present(*wanted)
    return [*material.spoken(found, speech, snrs, seed, counts), *material.more(found, speech, snrs, seed, counts)]


def fit_items(
    material: Material, people: Path | None, others: Path | None, counts: Counts, natural: Counts
) -> list[Item]:
    """Return the clips on which limits are fitted; ``natural`` for each natural speaker."""
    speech = Talk(talk.FIT_TALK, talk.FIT_MORE)
    items: list[Item] = []
    for wanted, some in ((voices.FIT_VOICES, counts), (voices.FIT_NEURAL, natural)):
        items += spoken_by(material, wanted, speech, FIT_SNRS, 1, replace(some, more=2 * some.more))
    items += list(material.people(people, 0, (None, 10.0))) if people else []
    return items + (list(material.talk_of_people(others, 0)) if others else [])


def report_items(
    material: Material, people: Path | None, others: Path | None, reading: Path | None, counts: Counts, natural: Counts
) -> list[Item]:
    """Return the clips of the report: other voices, other sentences, other takes, and ``others`` who only talk."""
    speech = Talk(talk.REPORT_TALK, talk.REPORT_MORE)
    items: list[Item] = []
    for wanted, some in ((voices.REPORT_VOICES, counts), (voices.REPORT_NEURAL, natural)):
        items += spoken_by(material, wanted, speech, REPORT_SNRS, 2, some)
    items += list(material.people(people, 1, (None, 10.0))) if people else []
    items += list(material.read_speech(reading)) if reading else []
    return items + (list(material.talk_of_people(others, 1)) if others else [])


def sound_of(item: Item, cache: Path) -> Samples:
    """Return the clip itself, with noise before, under and after the speech; empty when it cannot be made."""
    g = noises.rng(item.key)
    speech = _joined(item.file) if item.file else say(item.text, item.voice or voices.REPORT_VOICES[0], cache)
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
        four = zip((3, 8, 14, 21), voices.FIT_VOICES[:4], strict=True)
        talkers = [say(talk.FIT_TALK[number], voice, cache) for number, voice in four]
        return noises.babble(count, g, [t for t in talkers if len(t)])
    return noises.NOISES.get(item.noise, noises.idle)(count, g)


def _joined(files: str) -> NDArray[np.float64]:
    parts: list[NDArray[np.float64]] = []
    for name in files.split("|"):
        parts += [level(read_wav(Path(name))), np.zeros(int(0.12 * noises.RATE))]
    return np.concatenate(parts)
