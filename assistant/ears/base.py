"""The boundary of the ears: what a recogniser is, and what a source of hearings is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from assistant.phrases.live import Hearing, Live

if TYPE_CHECKING:
    from assistant.ears.utterances import Utterance

SAMPLE_RATE = 16_000
Samples = NDArray[np.int16]
"""Mono audio at 16 kHz, shape (n,), 16-bit."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one recogniser makes of one utterance with one closed set live.

    ``phrase`` is the live phrase id it stands for ("" when it refuses; "<number>" when the words are
    a number and a reading is due), ``words`` its raw words, ``scores`` numbers worth logging.
    """

    phrase: str
    words: str
    scores: Mapping[str, float] = field(default_factory=dict)


class Recogniser(Protocol):
    """A recogniser that writes down words and finds decoys among them. Owned by one thread; never shared."""

    name: str

    def recognise(self, samples: Samples, live: Live) -> Verdict:
        """Return the verdict on a whole utterance; never raises on odd audio."""

    def close(self) -> None:
        """Free the model."""


class Listener(Protocol):
    """What decides on an utterance: a pair of ears, or one alone. Owned by one thread."""

    name: str

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what an utterance comes to; never raises on odd audio."""

    def prepare(self, live: Live) -> None:
        """Build what a live set needs ahead of time."""

    def warm(self, live: Live) -> bool:
        """Build a little, some hundredths of a second's work, of what may be needed; True while more is left."""

    def close(self) -> None:
        """Free the models."""


class Signal(StrEnum):
    """What ears can report besides a hearing."""

    NOTHING = "nothing"  # the time-out passed without speech
    ENDED = "ended"  # no more lines or files will come
    LOST = "lost"  # the microphone is gone, silent or clipped for long
    BACK = "back"  # the microphone is there again
    PASSED = "passed"  # a control line of a practice run let time pass


class Ears(Protocol):
    """A source of hearings: typed lines, a folder of WAV files, a microphone."""

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Wait up to ``timeout`` seconds (None: for ever) for one utterance among ``live``."""

    def close(self) -> None:
        """Stop listening and free devices."""


@runtime_checkable
class KeepsSound(Protocol):
    """Ears that hear sound, so that a run with consent can keep it."""

    @property
    def last_samples(self) -> Samples | None:
        """The samples of the last hearing, the ones its hash is of; None when it had none."""
