"""A whole answer may end on a shorter silence; half a one may not."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import numpy as np
import pytest

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.microphone import is_whole
from assistant.ears.utterances import Cutter
from assistant.phrases.live import Hearing, Live, Reading, Unheard

SAYS = {"lock": ("lock went over",), "far": ("lock went over twice",), "gap": ("no gap",), "halt": ("stop",)}
LIVE = Live("en", SAYS, emergency=frozenset({"halt"}))


class Loud:
    """Calls loud sound speech."""

    probability = 0.0

    def feed(self, samples: Samples) -> Iterator[tuple[float, bool]]:
        """One verdict a chunk."""
        yield len(samples) / SAMPLE_RATE, bool(np.abs(samples).max() > 100)

    def reset(self) -> None:
        """Nothing is kept."""


def sound(seconds: float, loud: int) -> Samples:
    """A stretch of speech or of silence."""
    return np.full(int(seconds * SAMPLE_RATE), loud, np.int16)


def test_a_pause_is_looked_into_once_and_speech_opens_the_next() -> None:
    """Hazard: an answer cut in two. After a short pause one may look, once; speech that goes on stays one answer."""
    cutter = Cutter(detector=Loud())
    looks = []
    whole = []
    for part in (sound(0.5, 5000), sound(0.5, 0), sound(0.5, 5000), sound(1.0, 0)):
        for at in range(0, len(part), 1600):
            whole += list(cutter.feed(part[at : at + 1600]))
            looks += [found] if (found := cutter.early()) else []
    assert len(whole) == 1
    assert len(looks) == 2
    assert looks[0].start == looks[1].start == whole[0].start
    assert looks[0].end < looks[1].end


def test_a_phrase_from_which_another_goes_on_waits_longer() -> None:
    """Hazard: "lock went over" is taken while the driver draws breath for "twice"."""
    cutter = Cutter(detector=Loud())
    list(cutter.feed(sound(0.5, 5000)))
    told = []
    for _ in range(6):
        list(cutter.feed(sound(0.1, 0)))
        told.append((cutter.may_end(whole=True), cutter.may_end(whole=False)))
    assert told == [(False, False), (False, False), (True, False), (True, False), (True, True), (True, True)]


def test_an_accepted_answer_is_not_reported_again() -> None:
    """Hazard: one answer counts twice, early and at its end."""
    cutter = Cutter(detector=Loud())
    list(cutter.feed(sound(0.5, 5000)))
    list(cutter.feed(sound(0.4, 0)))
    assert cutter.early() is not None
    cutter.accept()
    assert list(cutter.feed(sound(2.0, 0))) == []
    assert not cutter.speaking


@pytest.mark.parametrize(
    ("heard", "whole"),
    [
        (Hearing("x", "no gap", phrase="gap"), True),
        (Hearing("x", "lock went over", phrase="lock"), False),
        (Hearing("x", "lock went over twice", phrase="far"), True),
        (Hearing("x", "stop", phrase="halt"), True),
        (Hearing("x", "one hundred", reading=Reading(Decimal(100), None, "one hundred")), False),
        (Hearing("x", "one hundred psi", reading=Reading(Decimal(100), "psi", "one hundred psi")), True),
        (Hearing("x", "no", unheard=Unheard.NOT_A_PHRASE), False),
    ],
)
def test_only_what_no_phrase_goes_on_from_is_whole(heard: Hearing, whole: bool) -> None:
    """Hazard: "lock went over" is taken while the driver is about to say more."""
    assert is_whole(heard, LIVE) is whole
