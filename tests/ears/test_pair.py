"""Two ears side by side, with ears that find what they are told: what is tried, and what the log says of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import pytest

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.closed_set import Scored, contraries, contrary_gain
from assistant.ears.fusion import Pair
from assistant.ears.limits import LIMITS
from assistant.ears.odds import odds
from assistant.ears.utterances import Utterance
from assistant.phrases.live import Live
from tests.ears.test_fusion import LIVE, STOP, ranked, weighed

SOUND = np.zeros(SAMPLE_RATE, np.int16)


class Told:
    """An ear that finds the likelihood of each phrase as it is told, and of every other text by its length."""

    def __init__(self, name: str, kind: Callable[[str, float], Any], finds: Mapping[str, float]) -> None:
        self.name = name
        self._kind = kind
        self._finds = finds

    def listen(self, samples: Samples) -> Samples:
        """Hand the sound on."""
        return samples

    def rank(self, sound: Samples, live: Live) -> tuple[Any, ...]:  # noqa: ARG002 - as an ear is asked
        """Say what was told, likeliest first."""
        told = [self._kind(name, heard) for name, heard in self._finds.items()]
        return tuple(sorted(told, key=lambda each: -each.gain))

    def weigh(self, sound: Samples, asked: Sequence[tuple[str, str]]) -> tuple[Any, ...]:
        """Say what was told of what is asked."""
        return tuple(one for one in self.rank(sound, LIVE) if one.phrase in {phrase for phrase, _ in asked})

    def elsewhere(self, sound: Samples, live: Live) -> list[Scored]:  # noqa: ARG002 - as an ear is asked
        """Know of nothing else."""
        return []

    def write(self, sound: Samples) -> str:  # noqa: ARG002 - as an ear is asked
        """Write what nobody could say here."""
        return "What a life."

    def share(self, phrase: str) -> float:  # noqa: ARG002 - as an ear is asked
        """Take all off."""
        return 1.0

    def likelihoods(self, sound: Samples, texts: Sequence[str]) -> list[float]:  # noqa: ARG002 - as an ear is asked
        """A text is the less likely the longer it is."""
        return [-float(len(text)) for text in texts]

    def unheard(self, texts: Sequence[str]) -> list[float]:
        """As dear without sound for each."""
        return [-40.0 for _ in texts]

    def close(self) -> None:
        """Nothing to free."""


def pair_of(first: Mapping[str, float], second: Mapping[str, float]) -> Pair:
    """A pair of such ears."""
    return Pair(Told("a", ranked, first), Told("b", weighed, second))  # type: ignore[arg-type]


def test_what_denies_the_leading_phrase_and_what_was_written_is_tried_in_both_ears() -> None:
    """Hazard: one ear's "not" is lost, or only one ear weighs the free text, and nobody notices."""
    pair = pair_of({"again": -0.9, "jaw-open": -9.0, STOP: -30.0}, {"again": -0.5, "jaw-open": -9.0, STOP: -30.0})
    found = pair.evidence(SOUND, LIVE)
    pair.close()
    denied = [-2.0 * len(text) for text in contraries("Say again.")]  # in both ears together
    assert found.contrary == pytest.approx(contrary_gain(-0.9 - 0.5, denied))
    assert found.freely == found.second_freely == -float(len("What a life.")) + 40.0


def test_the_log_tells_the_odds_of_the_phrase_it_names() -> None:
    """A trainer reads beside an ear's phrase how likely that phrase was, also where the ears differ."""
    pair = pair_of({"again": -0.9, "jaw-open": -0.4, STOP: -30.0}, {"again": -0.5, "jaw-open": -9.0, STOP: -30.0})
    found = pair.evidence(SOUND, LIVE)
    ears = pair.hear(Utterance(SOUND, 0.0, 1.0), LIVE).ears
    pair.close()
    assert (ears["a"]["phrase"], ears["b"]["phrase"]) == ("jaw-open", "again")
    assert ears["a"]["odds"] == pytest.approx(odds(found, "jaw-open", LIMITS.weights), abs=0.01)


def test_nothing_live_is_nothing_heard() -> None:
    """Hazard: an utterance between two steps raises, and the run ends."""
    pair = pair_of({}, {})
    heard = pair.hear(Utterance(SOUND, 0.0, 1.0), Live("en", {}))
    pair.close()
    assert (heard.phrase, heard.reading) == (None, None)


def test_a_broken_score_is_refused_and_the_log_stays_a_log() -> None:
    """Hazard: a score that is no number counts as sure, or cannot be written down, and the run ends."""
    pair = pair_of({"again": -0.9, "jaw-open": math.nan, STOP: -30.0}, {"again": -0.5, "jaw-open": -9.0, STOP: -30.0})
    heard = pair.hear(Utterance(SOUND, 0.0, 1.0), LIVE)
    pair.close()
    assert heard.phrase is None
    assert math.isfinite(float(str(heard.ears["a"]["odds"])))
