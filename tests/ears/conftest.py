"""Voices made on the spot, the shipped phrases and the real recognisers, loaded once."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from assistant.ears.base import Samples
from assistant.ears.choose import open_pair
from assistant.ears.fusion import Pair
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.live import Live
from assistant.shipped import shipped
from benchmarks.hearing_parts import noises
from benchmarks.hearing_parts.voices import SPEECH_RMS, Voice, level, say, there

STOP = "emergency-stop"
SAYERS = (
    Voice("flite", "slt"),
    Voice("flite", "rms"),
    Voice("festival", "kal_diphone"),
    Voice("espeak-ng", "en-us", ("-s", "150")),
)
PEOPLE = Path(__file__).resolve().parents[3] / "shared" / "speech"
"""Human recordings beside the checkout; not part of it."""


@pytest.fixture(scope="session")
def book() -> PhraseBook:
    """The shipped English phrases."""
    return load_book(shipped("grammars"), "en")


@pytest.fixture(scope="session")
def pair(book: PhraseBook) -> Iterator[Pair]:
    """Both real ears."""
    opened = open_pair(book)
    yield opened.pair
    opened.pair.close()


@pytest.fixture(scope="session")
def live(book: PhraseBook) -> Live:
    """What is live while the jaw is looked at, the critical sight."""
    ids = ["jaw-closed", "jaw-open", STOP, "say-again", "stand-by", "go-ahead", "raising-suspension"]
    return book.live(ids, critical=["jaw-closed"], emergency=[STOP])


@pytest.fixture(scope="session")
def voices() -> list[Voice]:
    """The speakers that this machine has; none at all is a fault of the machine, not a pass."""
    found = [voice for voice in SAYERS if there(voice)]
    assert found, "no speech program is installed; run ./check, which installs espeak-ng"
    return found


Clip = Callable[..., Samples]


@pytest.fixture(scope="session")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Clip:
    """A function: text and voice (or a file) to a clip with noise around and under it."""
    cache = tmp_path_factory.mktemp("voices")

    def make(text: str, voice: Voice, snr: float | None = 20.0, noise: str = "idle") -> Samples:
        return over_noise(say(text, voice, cache), snr, noise, text)

    return make


def over_noise(speech: np.ndarray, snr: float | None, noise: str, seed: str) -> Samples:
    """Put speech at a set level into noise with some pause on both sides."""
    padded = np.concatenate([np.zeros(10_000), speech, np.zeros(13_000)])
    g = noises.rng(seed, snr, noise)
    return noises.mix(padded, noises.NOISES[noise](len(padded), g), snr, SPEECH_RMS)


def person(path: Path, snr: float | None = None) -> Samples:
    """A human recording with pause, and noise when asked, around it."""
    from assistant.ears.audio import read_wav

    return over_noise(level(read_wav(path)), snr, "idle", path.name)
