"""A line made into sound: text for the ear, synthesis, level. Shared by all voices that sound."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from assistant.voice.base import Line, Progress, Tone
from assistant.voice.clip import Clip, Failure
from assistant.voice.loudness import Change, Settings, gain_for, levelled
from assistant.voice.speech_text import for_ear
from assistant.voice.synth import Synth
from assistant.voice.tones import tone_clip

_STAND_INS: dict[str, Tone] = {"hazard": Tone.STOP, "caution": Tone.STOP, "refusal": Tone.REFUSED}


@lru_cache(maxsize=32)  # a tone is the first thing heard of a reply: it is not made anew each time
def _tone(kind: Tone, gain_db: float) -> Clip:
    return levelled(tone_clip(kind), gain_db)


class Speech:
    """Turns lines into levelled clips in one language; ``noise_dbfs`` may follow the microphone."""

    def __init__(self, synth: Synth, lang: str, settings: Settings | None = None) -> None:
        self._synth = synth
        self._lang = lang
        self.settings = settings or Settings(synth.manner)
        self.noise_dbfs: float | None = None
        self._texts: tuple[str, ...] = ()
        synth.set_manner(self.settings.manner)

    def clip(self, line: Line) -> Clip | Failure:
        """Return the sound of a line at its present loudness."""
        outcome = self._synth.clip(for_ear(line.text, self._lang))
        return outcome if isinstance(outcome, Failure) else self._levelled(outcome)

    def warm(self) -> None:
        """Start the synthesiser in the background."""
        self._synth.warm()

    def tone(self, kind: Tone) -> Clip:
        """Return a tone at its present loudness."""
        return _tone(kind, gain_for(self.settings, self.noise_dbfs))

    def stand_in(self, line: Line) -> Clip:
        """Return the tone for a line that could not be spoken: stop for a hazard, else look here."""
        return self.tone(_STAND_INS.get(line.kind, Tone.NOT_UNDERSTOOD))

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:
        """Make texts ready; return those that failed, as they were given, with their reasons."""
        spoken = {text: for_ear(text, self._lang) for text in texts}
        self._texts = (*self._texts, *spoken.values())
        failed = self._synth.prepare(list(spoken.values()), progress)
        return {text: failed[ear] for text, ear in spoken.items() if ear in failed}

    def adjust(self, change: Change) -> bool:
        """Change the settings by one step; return False at the cap."""
        before = self.settings.manner
        self.settings, moved = self.settings.changed(change)
        if self.settings.manner != before:
            self._synth.set_manner(self.settings.manner)
            self._synth.prepare_behind(self._texts)
        return moved

    def close(self) -> None:
        """End the synthesiser."""
        self._synth.close()

    def _levelled(self, clip: Clip) -> Clip:
        return levelled(clip, gain_for(self.settings, self.noise_dbfs))
