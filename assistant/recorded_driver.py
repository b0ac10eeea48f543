"""A driver made of recordings, for showing a whole run without a microphone.

Each answer is synthesised on the spot by another voice than the assistant's, written as a WAV file,
and heard by the real recognisers. The driver knows the job, and now and then announces what must not
come yet, so that a listener hears it refused. Nothing is passed to the run but what was heard.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import soxr

from assistant.ears.base import Listener, Samples, Signal
from assistant.ears.wavs import speech_of
from assistant.engine import commands
from assistant.engine.events import Heard, Measured
from assistant.engine.guide import reply
from assistant.engine.state import Phase, State
from assistant.errors import DeviceError
from assistant.phrases.live import Hearing, Live, Role, Unheard
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared
from assistant.voice.clip import Clip, write_wav
from assistant.voice.other_voices import OtherVoice, other_voices, say_with

TOO_SOON: Final[Mapping[str, str]] = {
    "mounting": "backing-under",
    "see-pin": "raising-suspension",
    "see-gap": "driving-off",
    "crank": "removing-chocks",
}
"""Step → what the driver announces there too soon, once, before answering."""

TAKES: Final = (1.0, 1.08, 0.94, 1.15)
"""Not understood by any voice, a driver says it slower, then quicker, then slower still."""

TRIES = len(TAKES)  # a voice that is not understood gives way to the next; after as many the run is left open


def at_pace(clip: Clip, stretch: float, path: Path) -> Clip:
    """Return a clip made longer by ``stretch`` (1.08: 8 % slower, and lower by as much) and written to ``path``."""
    if stretch == 1.0:
        return clip
    made = Clip(np.asarray(soxr.resample(clip.pcm, clip.rate, clip.rate * stretch), np.int16), clip.rate)
    write_wav(path, made)
    return made


class RecordedDriver:
    """Ears that hear a driver's recordings as the run asks for them.

    ``where`` tells the state of the run; ``heard`` is called with the sound and words of each answer.
    """

    patient = False  # it answers as soon as it is asked

    def __init__(
        self,
        prepared: Prepared,
        pair: Listener,
        folder: Path,
        where: Callable[[], State],
        *,
        voices: Sequence[OtherVoice] | None = None,
        too_soon: Mapping[str, str] = TOO_SOON,
        heard: Callable[[Clip, str], None] = lambda _clip, _words: None,
    ) -> None:
        self._prepared = prepared
        self._pair = pair
        self._folder = folder
        self._where = where
        self._voices = tuple(voices if voices is not None else other_voices(prepared.book.lang))
        if not self._voices:
            raise DeviceError("No second voice is installed for the recorded driver; install flite or espeak-ng.")
        self._too_soon = dict(too_soon)
        self._heard = heard
        self._count = 0
        self._misses = 0
        self._corrected = 0  # times that something else was read back than was said
        self._answer: Heard | Measured | None = None
        self._here: tuple[int, Phase] | None = None
        self._useless = 0
        self.refused = 0
        self.meant: Heard | Measured | None = None  # by what was said last
        self.last_samples: Samples | None = None
        folder.mkdir(parents=True, exist_ok=True)

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Say the next thing, and return what the recognisers make of it."""
        del timeout
        state = self._where()
        here = (state.step, state.phase)
        # A number that was heard without its unit is asked for again: understood, but of no use.
        again = isinstance(self.meant, Measured) and state.phase is Phase.ASKING and here == self._here
        self._useless = self._useless + (self._misses == 0) if again else 0
        self._here = here
        tries = self._misses + self._corrected + self._useless
        if tries >= TRIES:
            return Signal.ENDED
        self.meant = self._meant(state)
        words = self._words(self.meant)
        round_, place = divmod(tries, len(self._voices))
        voice = self._voices[place]
        self._count += 1
        path = self._folder / f"{self._count:04d}-{voice.name}.wav"
        clip = at_pace(say_with(voice, words, path), TAKES[round_], path)
        self._heard(clip, words)
        hearing = self._hear(path, live)
        self._misses = self._misses + 1 if hearing.unheard is not None else 0
        self.refused += hearing.unheard is not None
        return hearing

    def close(self) -> None:
        """Free the recognisers."""
        self._pair.close()

    def _meant(self, state: State) -> Heard | Measured:
        step = self._prepared.plan.steps[state.step].id
        if state.phase is Phase.ASKING and self._misses == 0 and step in self._too_soon:
            return Heard(self._too_soon.pop(step))
        told = reply(self._prepared.plan, state).event
        assert isinstance(told, Heard | Measured)  # noqa: S101 - the guide says nothing else once a run has begun
        if state.phase is not Phase.CONFIRMING:
            self._answer = told
        elif self._read_back(state):
            self._corrected = 0
        else:
            self._corrected += self._misses == 0
            return Heard(commands.CORRECTION)
        return told

    def _read_back(self, state: State) -> bool:
        """Whether what was read back is what was said."""
        pending, said = state.pending, self._answer
        if pending is None or said is None:
            return True
        if isinstance(said, Measured):
            return (pending.value, pending.unit) == (said.value, said.unit)
        return pending.phrase == said.phrase

    def _words(self, told: Heard | Measured) -> str:
        if isinstance(told, Measured):
            return say_reading(told.value, told.unit, self._prepared.book.lang)
        call = f"{self._prepared.book.mate} " if told.who is Role.MATE else ""
        return call + self._prepared.wording.says(told.phrase)

    def _hear(self, path: Path, live: Live) -> Hearing:
        found = [one for one in speech_of(path) if len(one.samples)]
        self.last_samples = found[0].samples if len(found) == 1 else None
        if len(found) != 1:
            return Hearing(self._pair.name, unheard=Unheard.SILENCE if not found else Unheard.NOT_A_PHRASE)
        return self._pair.hear(found[0], live)
