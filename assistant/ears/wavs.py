"""A folder of recordings as a source of hearings, for a run without a microphone."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from assistant.ears.audio import read_blocks
from assistant.ears.base import Listener, Samples, Signal
from assistant.ears.segmenter import Timing
from assistant.ears.utterances import Utterance, utterances
from assistant.errors import InputError
from assistant.phrases.live import Hearing, Live, Unheard


class WavEars:
    """Hears the WAV files of a folder in the order of their names, then ends.

    A file may hold several utterances; one without speech is a hearing of silence. ``heard_file`` is
    the file that the last hearing came from.
    """

    def __init__(self, folder: Path, pair: Listener, timing: Timing = Timing()) -> None:  # noqa: B008
        if not folder.is_dir():
            raise InputError(f"{folder}: there is no such folder; name one that holds WAV files.")
        self._files = sorted(p for p in folder.iterdir() if p.suffix.lower() == ".wav")
        if not self._files:
            raise InputError(f"{folder}: holds no WAV file; put the recordings there, named in order.")
        self._pair = pair
        self._timing = timing
        self._stream = self._all()
        self.heard_file: Path | None = None
        self.last_samples: Samples | None = None

    patient = False  # recordings come at once or not at all

    @property
    def name(self) -> str:
        """The recognisers' names."""
        return self._pair.name

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:  # noqa: ARG002 - files wait for no one
        """Return the next utterance, or ENDED; raises InputError on a file that cannot be used."""
        found = next(self._stream, None)
        if found is None:
            return Signal.ENDED
        self.heard_file, utterance = found
        self.last_samples = utterance.samples if len(utterance.samples) else None
        if len(utterance.samples) == 0:
            return Hearing(self._pair.name, unheard=Unheard.SILENCE, start=utterance.start, end=utterance.end)
        return self._pair.hear(utterance, live)

    def close(self) -> None:
        """Free the recognisers."""
        self._pair.close()

    def _all(self) -> Iterator[tuple[Path, Utterance]]:
        for path in self._files:
            for utterance in speech_of(path, self._timing):
                yield path, utterance


def speech_of(path: Path, timing: Timing = Timing()) -> Iterator[Utterance]:  # noqa: B008
    """Yield the utterances of one file; one without samples stands for a file without speech."""
    found = False
    for utterance in utterances(read_blocks(path), timing):
        found = True
        yield utterance
    if not found:
        yield Utterance(samples=np.zeros(0, np.int16), start=0.0, end=0.0)
