"""Typed lines are answers like spoken ones: same closed set, whole line or nothing."""

from __future__ import annotations

import io
from decimal import Decimal

from assistant.ears.base import Signal
from assistant.ears.typed import LONGEST_LINE, TypedEars, typed_hearing
from assistant.phrases.live import Live, Role, Unheard

LIVE = Live(
    "en",
    {"jaw-closed": ("jaw closed",), "halt": ("stop",)},
    critical=frozenset({"jaw-closed"}),
    emergency=frozenset({"halt"}),
    reading="pressure",
    mate="mate",
)


def test_lines_come_one_by_one_and_then_end() -> None:
    """A script on standard input drives a run to its end: blank lines are no answers."""
    ears = TypedEars(io.StringIO("\n  Jaw closed. \nstop\n\n"))
    first, second = ears.listen(LIVE, None), ears.listen(LIVE, None)
    assert not isinstance(first, Signal)
    assert not isinstance(second, Signal)
    assert (first.phrase, first.engine, first.audio_sha256) == ("jaw-closed", "typed", "")
    assert second.phrase == "halt"
    assert ears.listen(LIVE, None) is Signal.ENDED


def test_a_phrase_inside_a_longer_line_is_no_answer() -> None:
    """Whole line or nothing: "jaw closed I think" must not pass as "jaw closed"."""
    for line in ("jaw closed i think", "the jaw closed", "jaw", "not jaw closed"):
        heard = typed_hearing(line, LIVE)
        assert (heard.phrase, heard.unheard) == (None, Unheard.NOT_A_PHRASE), line


def test_the_mate_is_told_from_the_driver() -> None:
    """The call-sign says who answered; the log must hold it."""
    heard = typed_hearing("mate jaw closed", LIVE)
    assert (heard.phrase, heard.who) == ("jaw-closed", Role.MATE)


def test_a_reading_is_a_number_with_its_unit() -> None:
    """Figures and words both count; a number that forms none is named as such."""
    heard = typed_hearing("110 psi", LIVE)
    assert heard.reading is not None
    assert (heard.reading.value, heard.reading.unit) == (Decimal(110), "psi")
    assert typed_hearing("twenty twenty", LIVE).unheard is Unheard.BAD_NUMBER


def test_an_endless_line_is_refused_not_stored() -> None:
    """A cat on the keyboard, or a file given by mistake, must not fill the log."""
    heard = typed_hearing("stop " * 10_000, LIVE)
    assert heard.unheard is Unheard.TOO_LONG
    assert len(heard.words) <= LONGEST_LINE
