"""What was heard and spoken once need not be heard and spoken again: the same step comes in many plans.

Valid only as long as a verdict hangs on nothing but the sound and what is live, which
``tests/procedures/test_recorded_runs.py`` tries on the real ears.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

from assistant.ears.base import Listener
from assistant.ears.utterances import Utterance
from assistant.errors import DeviceError
from assistant.phrases.live import Hearing, Live, Reading, Role, Unheard
from assistant.recorded_driver import at_pace
from assistant.voice.clip import Clip, Failure, read_wav, write_wav
from assistant.voice.other_voices import OtherVoice, say_with

SLOW = "-slow"
SLOWER = 1.08


def live_key(live: Live) -> list[object]:
    """Return everything a verdict can hang on in a live set."""
    return [
        live.lang, sorted((phrase, list(ways)) for phrase, ways in live.phrases.items()), sorted(live.critical),
        sorted(live.emergency), live.reading, live.mate, sorted(live.book),
    ]  # fmt: skip


def to_data(hearing: Hearing) -> dict[str, object]:
    """Return a hearing as JSON."""
    read = hearing.reading
    return {
        "engine": hearing.engine, "words": hearing.words, "phrase": hearing.phrase, "unheard": hearing.unheard,
        "reading": None if read is None else [str(read.value), read.unit, read.words], "who": hearing.who.value,
        "audio_sha256": hearing.audio_sha256, "speech_db": hearing.speech_db, "noise_db": hearing.noise_db,
        "ears": {name: dict(one) for name, one in hearing.ears.items()},
    }  # fmt: skip


def from_data(told: dict[str, object]) -> Hearing:
    """Return the hearing in JSON; its times are the next utterance's own."""
    read, why = told.pop("reading"), told.pop("unheard")
    reading = None if read is None else Reading(Decimal(read[0]), read[1], read[2])  # type: ignore[index]
    unheard = None if why is None else Unheard(why)
    return Hearing(**{**told, "reading": reading, "unheard": unheard, "who": Role(told["who"])})  # type: ignore[arg-type]


class RememberingPair:
    """The real ears, asked once for each sound, live set and noise before it; one owner thread.

    Verdicts stand in ``folder`` in a file for each version of the ears; other processes may add to it.
    """

    def __init__(self, inner: Listener, folder: Path, ears: str) -> None:
        self.inner, self.name = inner, inner.name
        self.asked = self.known = 0
        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / f"heard-{ears}.jsonl"
        self._path.touch()
        self._verdicts: dict[str, dict[str, object]] = {}
        self._read_to = 0

    def look(self) -> None:
        """Read what others have heard meanwhile."""
        with self._path.open("rb") as file:
            file.seek(self._read_to)
            while (line := file.readline()).endswith(b"\n"):
                row = json.loads(line)
                self._verdicts[row["key"]] = row["hearing"]
                self._read_to += len(line)

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what an utterance comes to."""
        sound = hashlib.sha256(utterance.samples.tobytes()).hexdigest()
        asked = [sound, utterance.noise_db, utterance.too_long, damaged, live_key(live)]
        key = hashlib.sha256(json.dumps(asked).encode()).hexdigest()
        self.asked += 1
        if key in self._verdicts:
            self.known += 1
            return replace(from_data(dict(self._verdicts[key])), start=utterance.start, end=utterance.end)
        heard = self.inner.hear(utterance, live, damaged=damaged)
        told = to_data(heard)
        self._verdicts[key] = told
        fd = os.open(self._path, os.O_WRONLY | os.O_APPEND)
        try:
            os.write(fd, json.dumps({"key": key, "hearing": told}).encode() + b"\n")
        finally:
            os.close(fd)
        return heard

    def prepare(self, live: Live) -> None:
        """Prepare nothing: most of what comes is known."""

    def warm(self, live: Live) -> bool:
        """Prepare nothing."""
        del live
        return False

    def close(self) -> None:
        """Leave the ears open: other runs use them."""


def slow(voice: OtherVoice) -> OtherVoice:
    """Return a voice that says everything slower."""
    return replace(voice, name=voice.name + SLOW)


class Sayings:
    """What each voice said, kept as WAV files; stands in for `say_with`."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)

    def __call__(self, voice: OtherVoice, text: str, path: Path) -> Clip:
        """Return what ``voice`` says, also written to ``path``."""
        kept = self._folder / f"{voice.name}-{hashlib.sha256(text.encode()).hexdigest()[:20]}.wav"
        if not kept.exists():
            new = kept.with_suffix(f".{os.getpid()}")
            clip = say_with(voice, text, new)
            if voice.name.endswith(SLOW):
                at_pace(clip, SLOWER, new)
            new.replace(kept)
        clip = read_wav(kept)
        if isinstance(clip, Failure):
            raise DeviceError(clip.reason)
        write_wav(path, clip)
        return clip
