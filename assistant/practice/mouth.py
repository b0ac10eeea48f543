"""How an automatic driver is heard: hearings as two ears or a keyboard would report them, noise and all."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random
from typing import Final

from assistant.engine.events import Measured
from assistant.phrases.live import Hearing, Live, Reading, Role, Unheard
from assistant.phrases.numbers import say_reading
from assistant.practice.manner import Manner
from assistant.practice.pretence import PretenceClocks
from assistant.prepare import Prepared

QUIET_DB: Final = -62.0

_NOT_HEARD: Final = (
    Unheard.NOT_A_PHRASE, Unheard.NOT_A_PHRASE, Unheard.NOT_A_PHRASE, Unheard.EARS_DISAGREE, Unheard.UNSURE,
    Unheard.TOO_LOUD, Unheard.SILENCE, Unheard.CLIPPED,
)  # fmt: skip


class Mouth:
    """Says things for one driver; ``noise_db`` is the noise at the microphone, None for a keyboard."""

    def __init__(
        self, prepared: Prepared, clocks: PretenceClocks, manner: Manner, chance: Random, noise_db: float | None
    ) -> None:
        self._prepared = prepared
        self._clocks = clocks
        self._manner = manner
        self._chance = chance
        self._sound = noise_db is not None
        self._noise_db = QUIET_DB if noise_db is None else noise_db

    def mishearing(self) -> float:
        """The share of utterances not understood: steady in quiet, steep as noise nears the voice."""
        if not self._sound:
            return self._manner.unheard / 4
        over = max(0.0, self._noise_db + 45.0)  # dB above the level at which hearing begins to fail
        return min(0.75, self._manner.unheard + 0.02 * over)

    def _levels(self) -> tuple[float | None, float | None]:
        if not self._sound:
            return None, None
        return self._chance.gauss(-20.0, 3.0), self._noise_db + self._chance.gauss(0.0, 1.5)

    def phrase(self, phrase: str, live: Live, who: Role = Role.DRIVER) -> Hearing:
        """Say a phrase, in one of its wordings; the mate says his call first."""
        words = self._chance.choice(live.phrases.get(phrase) or (self._prepared.wording.says(phrase),))
        call = f"{live.mate} " if who is Role.MATE and live.mate else ""
        return self._hearing(f"{call}{words}", phrase=phrase, who=who)

    def number(self, told: Measured, live: Live) -> Hearing:
        """Say a reading, now and then without its unit."""
        unit = None if self._chance.random() < self._manner.no_unit else told.unit
        words = say_reading(told.value, unit, live.lang)
        return self._hearing(words, reading=Reading(told.value, unit, words), who=told.who)

    def unheard(self) -> Hearing:
        """Say something that is not understood."""
        return self._hearing("", unheard=self._chance.choice(_NOT_HEARD))

    def _hearing(
        self,
        words: str,
        *,
        phrase: str | None = None,
        reading: Reading | None = None,
        unheard: Unheard | None = None,
        who: Role = Role.DRIVER,
    ) -> Hearing:
        """Return an utterance as the two ears, or a keyboard, would report it."""
        speech, noise = self._levels()
        end = self._clocks.mono() / 1000
        start = max(0.0, end - 0.4 - 0.06 * len(words))
        return Hearing(
            "moonshine-tiny.en+whisper-tiny.en" if self._sound else "typed", words,
            phrase=phrase, reading=reading, unheard=unheard, who=who, start=start, end=end,
            speech_db=speech, noise_db=noise, ears=self._ears(words, phrase, reading) if self._sound else {},
        )  # fmt: skip

    def _ears(self, words: str, phrase: str | None, reading: Reading | None) -> Mapping[str, Mapping[str, object]]:
        best = phrase or ("<number>" if reading else "")
        odds = round(self._chance.gauss(6.0 if best else -4.0, 1.5), 2)
        first = {"words": words, "phrase": best, "odds": odds}
        return {"moonshine-tiny.en": first, "whisper-tiny.en": {"words": "", "phrase": best}}
