"""Where an utterance begins and ends decides what is heard: both ends, for any stream."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.ears.segmenter import Edge, Event, Segmenter, Timing

STEP = 0.032


def run(pattern: list[bool], timing: Timing = Timing()) -> list[Event]:  # noqa: B008
    """Feed a pattern and return the events, the open end flushed."""
    segmenter = Segmenter(timing)
    events = [segmenter.feed(STEP, speech=speech) for speech in pattern]
    return [event for event in [*events, segmenter.flush()] if event is not None]


def speech(seconds: float) -> list[bool]:
    """So much speech."""
    return [True] * round(seconds / STEP)


def pause(seconds: float) -> list[bool]:
    """So much pause."""
    return [False] * round(seconds / STEP)


def test_a_pause_inside_a_phrase_does_not_cut_it() -> None:
    """A breath inside "jaw … closed" leaves it one answer."""
    ends = [e for e in run(pause(1) + speech(0.4) + pause(0.5) + speech(0.5) + pause(1)) if e.edge is Edge.END]
    assert len(ends) == 1
    assert ends[0].end - ends[0].start > 1.4


def test_two_answers_with_a_real_pause_are_two() -> None:
    """Two answers must not melt into one that is neither."""
    ends = [e for e in run(speech(0.5) + pause(1.2) + speech(0.5) + pause(1)) if e.edge is Edge.END]
    assert len(ends) == 2


def test_a_click_is_dropped_and_endless_talk_is_cut_off_once() -> None:
    """A door or a radio is no answer; a radio must not be heard as hundreds of them."""
    assert [e.edge for e in run([*pause(1), True, *pause(1)])] == [Edge.START, Edge.DROPPED]
    edges = [e.edge for e in run(speech(60) + pause(1))]
    assert edges == [Edge.START, Edge.TOO_LONG]


def test_the_pause_of_an_utterance_under_way_is_told() -> None:
    """Promise: a whole answer may be looked for before the long pause is over; without speech there is no pause."""
    segmenter = Segmenter()
    assert segmenter.pause == 0.0
    for _ in range(10):
        segmenter.feed(STEP, speech=True)
    for _ in range(3):
        segmenter.feed(STEP, speech=False)
    assert segmenter.pause == pytest.approx(3 * STEP)
    assert segmenter.bounds().end == pytest.approx(segmenter.now)


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 60)), max_size=40))
@settings(max_examples=200, deadline=None)
def test_utterances_lie_in_order_and_hold_their_speech(runs: list[tuple[bool, int]]) -> None:
    """No speech is lost, none is heard twice, whatever comes."""
    pattern = [flag for flag, count in runs for _ in range(count)]
    timing = Timing(longest=1e9)
    ends = [e for e in run(pattern, timing) if e.edge is Edge.END]
    for first, second in itertools.pairwise(ends):
        assert first.end <= second.start + 1e-6
    covered = np.zeros(len(pattern), bool)
    for event in ends:
        assert 0 <= event.start < event.end <= len(pattern) * STEP + 1e-6
        covered[round(event.start / STEP) : round(event.end / STEP) + 1] = True
    dropped = sum(1 for index, flag in enumerate(pattern) if flag and not covered[index])
    assert dropped * STEP <= sum(timing.shortest for e in run(pattern, timing) if e.edge is Edge.DROPPED) + 1e-6
