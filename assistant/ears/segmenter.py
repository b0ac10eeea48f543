"""Where an utterance begins and ends: pure, fed with durations and whether they held speech.

The pause that ends an utterance is short enough to feel quick and long enough for "jaw … closed".
Both ends are reported in seconds since the segmenter began, so that they can be logged.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Timing:
    """Lengths in seconds.

    ``pre_roll`` and ``tail`` are kept before and after the speech; ``shortest`` is the least speech
    that counts; ``pause`` ends an utterance, ``pause_complete`` one that is a whole phrase, ``pause_open``
    one from which another live phrase goes on; after ``pause_look`` the ears are asked what was said so
    far, so that they have found it by then;
    ``longest`` is where an utterance is cut off as no phrase.
    """

    pre_roll: float = 0.35
    tail: float = 0.25
    shortest: float = 0.09
    pause: float = 0.65
    pause_look: float = 0.06
    pause_complete: float = 0.25
    pause_open: float = 0.5
    longest: float = 9.0


class Edge(StrEnum):
    """What the segmenter reports."""

    START = "start"  # speech began
    END = "end"  # an utterance is complete
    DROPPED = "dropped"  # what began was too short to be speech
    TOO_LONG = "too-long"  # speech without a pause, longer than any phrase


@dataclass(frozen=True, slots=True)
class Event:
    """An edge; ``start`` and ``end`` bound the utterance with pre-roll and tail, in seconds."""

    edge: Edge
    start: float
    end: float


class Segmenter:
    """Cuts a stream into utterances."""

    def __init__(self, timing: Timing = Timing()) -> None:
        self.timing = timing
        self._now = 0.0
        self._begun: float | None = None
        self._last_speech = 0.0
        self._speech = 0.0
        self._previous_end = 0.0
        self._overlong = False

    @property
    def now(self) -> float:
        """Seconds of sound taken in so far."""
        return self._now

    @property
    def speaking(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._begun is not None

    @property
    def pause(self) -> float:
        """Seconds of silence since the last speech of the utterance under way; 0 when there is none."""
        return 0.0 if self._begun is None else self._now - self._last_speech

    def bounds(self) -> Event:
        """Return the utterance under way as if it ended now."""
        return Event(Edge.END, self._from(), min(self._last_speech + self.timing.tail, self._now))

    def feed(self, duration: float, *, speech: bool) -> Event | None:
        """Take in the next ``duration`` seconds."""
        started = self._now
        self._now += duration
        if speech:
            return self._on_speech(started, duration)
        if self._begun is None:
            return None
        if self.pause + 1e-9 < self.timing.pause:
            return None
        return self._finish()

    def flush(self) -> Event | None:
        """End the stream: report an utterance that is still open."""
        return None if self._begun is None else self._finish()

    def reset(self) -> None:
        """Forget an utterance that is under way, as when the assistant begins to speak."""
        self._begun = None
        self._speech = 0.0
        self._overlong = False
        self._previous_end = self._now

    def _on_speech(self, started: float, duration: float) -> Event | None:
        first = self._begun is None
        if first:
            self._begun = started
        self._last_speech = self._now
        self._speech += duration
        begun = started if self._begun is None else self._begun
        if self._now - begun > self.timing.longest and not self._overlong:
            self._overlong = True
            return Event(Edge.TOO_LONG, self._from(), self._now)
        return Event(Edge.START, self._from(), self._now) if first else None

    def _from(self) -> float:
        begun = self._now if self._begun is None else self._begun
        return max(begun - self.timing.pre_roll, self._previous_end)

    def _finish(self) -> Event | None:
        start, end = self._from(), min(self._last_speech + self.timing.tail, self._now)
        edge = Edge.END if self._speech + 1e-9 >= self.timing.shortest else Edge.DROPPED
        told = self._overlong
        self._begun = None
        self._speech = 0.0
        self._overlong = False
        self._previous_end = self._last_speech if edge is Edge.DROPPED else end
        # The overlong stretch was reported when it passed the limit; its end is no second answer.
        return None if told else Event(edge, start, end)
