"""The rule between two ears, on verdicts alone: what counts, what is refused, and with which reason."""

from __future__ import annotations

import itertools

import pytest

from assistant.ears.audio import Levels
from assistant.ears.base import Verdict
from assistant.ears.fusion import decide
from assistant.ears.limits import LIMITS
from assistant.phrases.live import Live, Unheard

STOP = "halt"
LIVE = Live(
    "en",
    {"jaw-closed": ("jaw closed",), "jaw-open": ("still open",), "again": ("say again",), STOP: ("stop",)},
    critical=frozenset({"jaw-closed"}),
    emergency=frozenset({STOP}),
    reading="pressure",
)
CLEAR = Levels(-20.0, -50.0, 0.0)
WORDS = {name: says[0] for name, says in LIVE.phrases.items()} | {"": "what life"}
SURE = {"score": -1.0, "margin": 6.0, "behind_free": 0.0, "ends": -0.1}
POOR = {"score": -10.0, "margin": 0.1, "behind_free": 9.0, "ends": -4.0}


def first(phrase: str, nearest: str = "") -> Verdict:
    """What the streaming ear says."""
    return Verdict(phrase, WORDS[phrase], {f"nearest:{nearest}": 1.0} if nearest else {})


def second(best: str, scores: dict[str, float] = SURE) -> Verdict:
    """What the closed-set ear says."""
    return Verdict(best if scores is SURE else "", WORDS[best], {**scores, f"best:{best}": 1.0})


def test_a_critical_answer_needs_both() -> None:
    """A wrong "jaw closed" kills: neither ear alone, however sure, may give it."""
    assert decide(first("jaw-closed"), second("jaw-closed"), LIVE, LIMITS, CLEAR).phrase == "jaw-closed"
    for other in (second("jaw-open"), second("again"), second("jaw-closed", POOR | {"score": -20.0})):
        assert decide(first("jaw-closed"), other, LIVE, LIMITS, CLEAR).phrase is None
    alone = decide(first(""), second("jaw-closed"), LIVE, LIMITS, CLEAR)
    assert (alone.phrase, alone.unheard) == (None, Unheard.ONE_EAR_ONLY)
    missing = decide(first("jaw-closed"), None, LIVE, LIMITS, CLEAR)
    assert (missing.phrase, missing.unheard) == (None, Unheard.ONE_EAR_ONLY)


def test_ears_that_differ_are_refused() -> None:
    """Two different answers are no answer."""
    heard = decide(first("jaw-open"), second("again"), LIVE, LIMITS, CLEAR)
    assert (heard.phrase, heard.unheard) == (None, Unheard.EARS_DISAGREE)


@pytest.mark.parametrize(("one", "two"), list(itertools.product(["", "jaw-closed", "again", STOP], repeat=2)))
def test_whatever_comes_a_critical_answer_is_never_from_one_ear(one: str, two: str) -> None:
    """Over every pair of verdicts: a critical phrase only where both named it."""
    for scores in (SURE, POOR):
        heard = decide(first(one, "again"), second(two, scores), LIVE, LIMITS, CLEAR)
        assert heard.phrase != "jaw-closed" or one == two == "jaw-closed"


def test_an_emergency_needs_either() -> None:
    """A shouted stop counts from whichever ear, in any noise, even overdriven."""
    loud = Levels(-20.0, -19.0, 0.5)
    assert decide(first(STOP), second("again", POOR), LIVE, LIMITS, loud).phrase == STOP
    assert decide(first("again"), second(STOP), LIVE, LIMITS, loud).phrase == STOP


def test_noise_clipping_and_damage_are_told() -> None:
    """The driver must know what to do: come closer, hold it away, say it again."""
    for levels, damaged, reason in (
        (Levels(-20.0, -18.0, 0.0), False, Unheard.TOO_LOUD),
        (Levels(-3.0, -40.0, 0.3), False, Unheard.CLIPPED),
        (CLEAR, True, Unheard.DAMAGED),
    ):
        heard = decide(first("again"), second("again"), LIVE, LIMITS, levels, damaged=damaged)
        assert (heard.phrase, heard.unheard) == (None, reason)


def number(words: str, *, closed_set: bool = False) -> Verdict:
    """A number heard."""
    return Verdict("<number>", words, dict(POOR) if closed_set else {})


def test_a_number_that_the_ears_hear_differently_is_refused() -> None:
    """A wrong value read back in a hurry is confirmed: where the ears differ, nothing is read back."""
    both = decide(number("one one zero p s i"), number("110 psi", closed_set=True), LIVE, LIMITS, CLEAR)
    assert both.reading is not None
    assert (both.reading.value, both.reading.unit) == (110, "psi")
    half_unit = decide(number("one one zero s i"), number("110 psi", closed_set=True), LIVE, LIMITS, CLEAR)
    assert half_unit.reading is not None
    differ = decide(number("one one zero p s i"), number("190 psi", closed_set=True), LIVE, LIMITS, CLEAR)
    assert (differ.reading, differ.unheard) == (None, Unheard.EARS_DISAGREE)
    lone = decide(number("one one zero p s i"), second("again", POOR), LIVE, LIMITS, CLEAR)
    assert lone.reading is not None, "one ear is enough for a read-back, which needs two to be confirmed"
    talk = decide(number("one one zero p s i"), second("again", SURE), LIVE, LIMITS, CLEAR)
    assert (talk.reading, talk.unheard) == (None, Unheard.EARS_DISAGREE)


@pytest.mark.parametrize(
    ("free", "value"),
    [("1 2 2 psi", 122), ("1 2 2 p s i", 122), ("9 or 5 psi", 95), ("110 psi", 110), ("122 ps i", 122)],
)
def test_figures_written_one_by_one_are_a_number(free: str, value: int) -> None:
    """The free-writing ear spells "one two two" as figures apart: a driver's reading must not be lost by that."""
    heard = decide(Verdict("", "wanna do two", {}), number(free, closed_set=True), LIVE, LIMITS, CLEAR)
    assert heard.reading is not None
    assert (heard.reading.value, heard.reading.unit) == (value, "psi")
