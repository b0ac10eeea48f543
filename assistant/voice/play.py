"""The voice that is heard: a queue in front of one loudspeaker, with a receipt for every line."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence

from assistant.voice.base import Hooks, How, Line, Progress, Receipt, Spoken, Tone
from assistant.voice.clip import Failure
from assistant.voice.loudness import Change
from assistant.voice.sink import Sink
from assistant.voice.speech import Speech

_TAIL_SECONDS = 0.2  # a cab still rings for this long after the last sample (common practice, no source)
_CLOSE_SECONDS = 30.0  # the longest hazard
_WRITTEN_ON_SCREEN = "The screen has the text."

Job = tuple[Line, Receipt] | Tone


def _may_be_cut(job: Job) -> bool:
    """Whether the driver's speech may stop this: the stop and refused tones are as firm as a hazard."""
    return job[0].may_be_cut if isinstance(job, tuple) else job not in (Tone.STOP, Tone.REFUSED)


class SpeakerVoice:
    """Says lines one after the other on a thread of its own.

    Lines are never merged and never lost: each is its own synthesis and its own clip, and each ends
    in a receipt. A hazard or caution is played to its end whatever else happens.
    """

    def __init__(self, speech: Speech, sink: Sink, hooks: Hooks | None = None) -> None:
        self._speech = speech
        self._sink = sink
        self._hooks = hooks or Hooks()
        self._jobs: deque[Job] = deque()
        self._wake = threading.Condition()
        self._current: Job = Tone.HEARD
        self._busy = False
        self._quiet_at = 0.0
        self._stop = threading.Event()
        self._closing = False
        self._thread = threading.Thread(target=self._work, name="voice", daemon=True)
        self._thread.start()

    @property
    def speaking(self) -> bool:
        """Whether sound comes out, is about to, or still rings in the cab."""
        with self._wake:
            return self._busy or bool(self._jobs) or time.monotonic() < self._quiet_at

    @property
    def firm(self) -> bool:
        """Whether what is being said, or comes next, may not be cut by an answer."""
        with self._wake:
            job = self._current if self._busy else self._jobs[0] if self._jobs else Tone.HEARD
            return not _may_be_cut(job)

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Queue ``lines`` behind what is being said; returns at once."""
        receipt = Receipt(lines)
        with self._wake:
            if self._closing:
                for line in lines:
                    receipt.add(Spoken(line, How.FAILED, reason="The voice is closed."))
                return receipt
            self._jobs.extend((line, receipt) for line in lines)
            self._wake.notify()
        return receipt

    def tone(self, kind: Tone) -> None:
        """Play a tone next, before queued lines, after the line being said."""
        with self._wake:
            if not self._closing:
                self._jobs.appendleft(kind)
                self._wake.notify()

    def cut(self) -> None:
        """Stop the line being said and drop queued ones, except hazards and cautions."""
        self._drop(_may_be_cut)

    def halt(self) -> None:
        """Stop whatever is being said and drop the queue."""
        self._drop(lambda _job: True)

    def _drop(self, which: Callable[[Job], bool]) -> None:
        with self._wake:
            dropped = [job for job in self._jobs if which(job)]
            self._jobs = deque(job for job in self._jobs if not which(job))
            if self._busy and which(self._current):
                self._stop.set()
        for job in dropped:
            if isinstance(job, tuple):
                self._finish(Spoken(job[0], How.CUT), job[1])

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:
        """Make the sound of ``texts`` ready; return each text that failed with its reason."""
        return self._speech.prepare(texts, progress)

    def adjust(self, change: Change) -> bool:
        """Change how lines are spoken from the next one on; False at the cap."""
        return self._speech.adjust(change)

    def follow_noise(self, dbfs: float) -> None:
        """Fit the loudness of the following lines to the noise at the microphone."""
        self._speech.noise_dbfs = dbfs

    def close(self) -> None:
        """Finish hazards, drop the rest, free loudspeaker and synthesiser."""
        self.cut()
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join(_CLOSE_SECONDS)
        self._sink.close()
        self._speech.close()

    def _next(self) -> Job | None:
        """Wait for a job and make it the current one; None when closing and nothing is left."""
        with self._wake:
            if self._busy:
                self._quiet_at = time.monotonic() + _TAIL_SECONDS
            self._busy = False
            while not self._jobs:
                if self._closing:
                    return None
                self._wake.wait()
            job = self._jobs.popleft()
            self._busy = True
            self._current = job
            self._stop.clear()
            return job

    def _work(self) -> None:
        """Do job after job; a fault of ours in one line must not leave the next ones waiting for ever."""
        while (job := self._next()) is not None:
            if isinstance(job, Tone):
                self._play_tone(job)
                continue
            try:
                spoken = self._say(job[0])
            except Exception as why:
                reason = f"The voice broke on this line ({type(why).__name__}: {why}). {_WRITTEN_ON_SCREEN}"
                spoken = Spoken(job[0], How.FAILED, reason=reason)
            self._finish(spoken, job[1])

    def _play_tone(self, kind: Tone) -> None:
        played = self._sink.play(self._speech.tone(kind), self._stop)
        if played.trouble:
            self._hooks.notice(f"A tone was not heard: {played.trouble}")

    def _say(self, line: Line) -> Spoken:
        clip = self._speech.clip(line)
        self._hooks.started(line)
        if isinstance(clip, Failure):
            return self._stand_in(line, clip.reason)
        played = self._sink.play(clip, self._stop)
        if played.ended:
            return Spoken(line, How.SPOKEN, played.seconds)
        if played.trouble:
            return Spoken(line, How.FAILED, played.seconds, f"{played.trouble} {_WRITTEN_ON_SCREEN}")
        return Spoken(line, How.CUT, played.seconds)

    def _stand_in(self, line: Line, reason: str) -> Spoken:
        played = self._sink.play(self._speech.stand_in(line), self._stop)
        how = How.FAILED if played.trouble else How.TONE
        return Spoken(
            line, how, played.seconds, f"{reason} {played.trouble}".strip() + f" {_WRITTEN_ON_SCREEN}"
        )

    def _finish(self, spoken: Spoken, receipt: Receipt) -> None:
        receipt.add(spoken)
        if spoken.reason:
            self._hooks.notice(f"Not spoken ({spoken.line.name}): {spoken.reason}")
        self._hooks.finished(spoken)


class SilentVoice:
    """The voice of typed runs: lines reach the hooks, which print them, and no sound is made."""

    speaking = firm = False

    def __init__(self, hooks: Hooks | None = None) -> None:
        self._hooks = hooks or Hooks()

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Pass each line to the hooks."""
        receipt = Receipt(lines)
        for line in lines:
            self._hooks.started(line)
            spoken = Spoken(line, How.SILENT)
            self._hooks.finished(spoken)
            receipt.add(spoken)
        return receipt

    def cut(self) -> None:
        """Do nothing: there is no sound to stop."""

    def halt(self) -> None:
        """Do nothing, for the same reason."""

    def tone(self, kind: Tone) -> None:
        """Make no sound."""

    def prepare(self, texts: Sequence[str], progress: Progress) -> dict[str, str]:
        """Report all as ready: nothing will be spoken."""
        progress(len(texts), len(texts))
        return {}

    def adjust(self, change: Change) -> bool:  # noqa: ARG002
        """Change nothing; returns False."""
        return False

    def follow_noise(self, dbfs: float) -> None:
        """Ignore the noise."""

    def close(self) -> None:
        """Have nothing to free."""
