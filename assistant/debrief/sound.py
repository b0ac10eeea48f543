"""What was heard in a run, as sound again: prompts spoken anew by the run's voice, and kept recordings.

The voice is the run's own: the language's, slowed or louder as the driver had asked by then. It comes
from the same synthesis and cache as in the cab, one child process for all that is asked for here.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, cast, get_args

import numpy as np
import soxr

from assistant.debrief.moments import Lane, Moment, What
from assistant.errors import DeviceError, InputError, LogError
from assistant.journal.audio import FOLDER, SAMPLE_RATE, read_audio
from assistant.voice.base import Line, Tone
from assistant.voice.cache import Cache
from assistant.voice.choose import VOICES
from assistant.voice.clip import Clip, Failure, Pcm
from assistant.voice.loudness import Change, Manner, Settings
from assistant.voice.speech import Speech
from assistant.voice.synth import Synth

RATE: Final = 22_050
_GAP_S: Final = 0.25  # between the lines of one prompt
LONG_PAUSE_MS: Final = 2_000
"""What a pause is cut to when pauses are shortened."""
LONGEST_JOINED_MS: Final = 3 * 3600 * 1000


class Sounds:
    """Makes the sound of moments. One synthesiser a language, opened when first asked for; close at the end."""

    def __init__(self, cache: Path) -> None:
        self._cache = cache
        self._voices: dict[str, tuple[Synth, Speech]] = {}
        self._lock = threading.Lock()

    def close(self) -> None:
        """End the synthesisers."""
        with self._lock:
            for _, speech in self._voices.values():
                speech.close()
            self._voices.clear()

    def of(self, moment: Moment, lang: str, folder: Path) -> Clip | None:
        """Return the sound of a moment, None where there was none. Raises DeviceError or LogError."""
        if moment.what is What.PROMPT:
            with self._lock:
                return self._spoken(moment, lang)
        if moment.tone:
            with self._lock:
                return self._at(lang, moment).tone(Tone(moment.tone))
        if moment.audio:
            path = folder / FOLDER / f"{moment.audio}.flac"
            if path.is_file():
                return Clip(_at_rate(read_audio(path), SAMPLE_RATE), RATE)
        return None

    def _spoken(self, moment: Moment, lang: str) -> Clip | None:
        speech = self._at(lang, moment)
        parts: list[Pcm] = []
        for told in moment.lines:
            if not told.text.strip():
                continue
            kind = told.kind if told.kind in _KINDS else "info"
            clip = speech.clip(Line(kind, told.text, "replay"))  # type: ignore[arg-type]
            if isinstance(clip, Failure):
                raise DeviceError(f"That cannot be spoken again: {clip.reason}")
            parts += [_at_rate(clip.pcm, clip.rate), np.zeros(round(_GAP_S * RATE), np.int16)]
        if not parts:
            return None
        pcm = np.concatenate(parts[:-1])
        cut = any(told.how == "cut" for told in moment.lines)
        # A line that was cut was heard only as long as it took.
        return Clip(pcm[: max(1, (moment.at - moment.start) * RATE // 1000)] if cut else pcm, RATE)

    def _at(self, lang: str, moment: Moment) -> Speech:
        """The voice as the driver had set it by then."""
        if lang not in VOICES:
            raise InputError(f"There is no voice for language {lang}; there is: {', '.join(VOICES)}.")
        wanted = Settings(Manner(voice=VOICES[lang]))
        for change in moment.changes:
            if change in get_args(Change):
                wanted, _ = wanted.changed(cast("Change", change))
        synth, speech = self._voices.get(lang, (None, None))
        if synth is None or speech is None:
            synth = Synth(Cache(self._cache), wanted.manner)
        if speech is None or speech.settings != wanted:
            speech = Speech(synth, lang, wanted)
            self._voices[lang] = synth, speech
        return speech


_KINDS: Final = frozenset({"hazard", "step", "read-back", "refusal", "info", "count", "caution"})


def _at_rate(pcm: Pcm, rate: int) -> Pcm:
    return pcm if rate == RATE else np.asarray(soxr.resample(pcm, rate, RATE), dtype=np.int16)


@dataclass(frozen=True, slots=True)
class Due:
    """A moment in a replay: how many ms after its beginning, and the moment."""

    at: int
    moment: Moment


def schedule(moments: Sequence[Moment], *, shortened: bool = False) -> list[Due]:
    """Return when each sounding moment comes in a replay at the run's own pace.

    An interruption is no pause: what lay still between two days is left out. With ``shortened`` no pause
    is longer than `LONG_PAUSE_MS`.
    """
    found: list[Due] = []
    now = still = was = 0
    for moment in sorted(moments, key=lambda one: (one.start, one.number)):
        still += moment.skipped
        if not sounds_at_all(moment):
            continue
        pause = max(0, moment.start - was - still) if found else 0
        now += min(pause, LONG_PAUSE_MS) if shortened else pause
        found.append(Due(now, moment))
        now += max(0, moment.at - moment.start)
        was, still = max(was, moment.at), 0
    return found


def sounds_at_all(moment: Moment) -> bool:
    """Whether something was to be heard at a moment: a prompt, a tone, or somebody speaking."""
    return moment.what is What.PROMPT or bool(moment.tone) or moment.lane is Lane.SAID


def joined(sounds: Sounds, moments: Sequence[Moment], lang: str, folder: Path, *, shortened: bool) -> Iterator[Pcm]:
    """Yield the sound of a run in order, pauses between; at `RATE`, some seconds at a time.

    A prompt that takes longer now than the run gave it puts off what follows, so that nothing overlaps.
    Raises InputError when it would be longer than three hours, and as `Sounds.of`.
    """
    due = schedule(moments, shortened=shortened)
    if due and due[-1].at > LONGEST_JOINED_MS:
        raise InputError("That is longer than three hours: shorten the pauses, or listen page by page.")
    at = 0
    for one in due:
        clip = sounds.of(one.moment, lang, folder)
        gap = max(0, one.at * RATE // 1000 - at)
        at += gap
        while gap:
            block = min(gap, 60 * RATE)
            yield np.zeros(block, np.int16)
            gap -= block
        if clip is not None:
            yield clip.pcm
            at += len(clip.pcm)


def write_joined(
    sounds: Sounds, moments: Sequence[Moment], lang: str, run: Path, out: Path, *, shortened: bool
) -> None:
    """Write what was heard in a run as one FLAC file; raises as `joined`, and LogError when it cannot be written."""
    import soundfile  # noqa: PLC0415 - slow to load, and only this needs it

    try:
        with soundfile.SoundFile(str(out), "w", RATE, 1, "PCM_16", format="FLAC") as file:
            for block in joined(sounds, moments, lang, run, shortened=shortened):
                file.write(block)
    except (OSError, soundfile.SoundFileError) as error:
        raise LogError(f"Cannot write {out}: look at the folder and the disk.") from error
