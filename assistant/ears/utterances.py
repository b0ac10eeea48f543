"""Cuts a stream of samples into utterances, keeping no more sound than one utterance needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from assistant.ears.audio import measure
from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.ears.segmenter import Edge, Event, Segmenter, Timing
from assistant.ears.vad import STIRRING, Detector, SpeechDetector


@dataclass(frozen=True, slots=True)
class Utterance:
    """Sound of one utterance with a little around it; ``start`` and ``end`` in seconds of the stream.

    ``noise_db`` is the level of the stream while nobody spoke, dB relative to full scale, or None
    when there was no such time yet. ``too_long`` marks sound that went on longer than any phrase.
    """

    samples: Samples
    start: float
    end: float
    noise_db: float | None = None
    too_long: bool = False


class Cutter:
    """Feeds samples through detector and segmenter and hands out whole utterances."""

    def __init__(self, timing: Timing = Timing(), detector: Detector | None = None) -> None:  # noqa: B008
        self._detector = detector if detector is not None else SpeechDetector()
        self._segmenter = Segmenter(timing)
        self._kept: Samples = np.zeros(0, np.int16)
        self._looked = False  # whether this pause was looked into
        self._kept_from = 0  # index in the stream of the first kept sample
        self._keep = int((timing.longest + timing.pre_roll + timing.pause + 1.0) * SAMPLE_RATE)

    @property
    def speaking(self) -> bool:
        """Whether somebody is speaking now."""
        return self._segmenter.speaking

    @property
    def stirring(self) -> bool:
        """Whether the last sound may be the beginning of speech: enough to fall silent for, not yet to hear."""
        return self._detector.probability >= STIRRING

    @property
    def now(self) -> float:
        """Seconds of sound taken in so far."""
        return self._segmenter.now

    def feed(self, samples: Samples) -> Iterator[Utterance]:
        """Take in samples of any number; yield each utterance that is now complete."""
        step = SAMPLE_RATE // 10
        for at in range(0, len(samples), step):
            part = samples[at : at + step]
            self._kept = np.concatenate([self._kept, part])
            for duration, speech in self._detector.feed(part):
                event = self._segmenter.feed(duration, speech=speech)
                if event is not None and event.edge in {Edge.END, Edge.TOO_LONG}:
                    yield self._cut(event)
            self._trim()

    def flush(self) -> Iterator[Utterance]:
        """End of the stream: yield the utterance that is still open, if any."""
        event = self._segmenter.flush()
        if event is not None and event.edge is Edge.END:
            yield self._cut(event)

    def early(self) -> Utterance | None:
        """Return the utterance under way once it has paused for ``pause_look``; once a pause."""
        paused = self._segmenter.pause + 1e-9 >= self._segmenter.timing.pause_look
        look = paused and not self._looked
        self._looked = paused
        return self._cut(self._segmenter.bounds()) if look else None

    def may_end(self, *, whole: bool) -> bool:
        """Whether the pause is long enough to end a phrase: a ``whole`` one, or one that may go on."""
        timing = self._segmenter.timing
        return self._segmenter.pause + 1e-9 >= (timing.pause_complete if whole else timing.pause_open)

    def accept(self) -> None:
        """End the utterance under way: what ``early`` returned was all of it."""
        self._segmenter.flush()
        self._looked = False

    def reset(self) -> None:
        """Drop what is under way."""
        self._segmenter.reset()
        self._detector.reset()

    def _cut(self, event: Event) -> Utterance:
        begin = max(int(event.start * SAMPLE_RATE) - self._kept_from, 0)
        end = int(event.end * SAMPLE_RATE) - self._kept_from
        before = self._kept[max(begin - SAMPLE_RATE, 0) : begin]
        noise = measure(before).noise_db if len(before) >= SAMPLE_RATE // 5 else None
        return Utterance(self._kept[begin:end].copy(), event.start, event.end, noise, event.edge is Edge.TOO_LONG)

    def _trim(self) -> None:
        keep = self._keep if self._segmenter.speaking else 3 * SAMPLE_RATE
        surplus = len(self._kept) - keep
        if surplus > 0:
            self._kept = self._kept[surplus:]
            self._kept_from += surplus


def utterances(blocks: Iterable[Samples], timing: Timing = Timing()) -> Iterator[Utterance]:  # noqa: B008
    """Yield the utterances of a recording that comes in blocks."""
    cutter = Cutter(timing)
    for block in blocks:
        yield from cutter.feed(block)
    yield from cutter.flush()
