"""The live microphone: a restartable child process, watched.

What can go wrong with a microphone is reported and never papered over: gone, silent, clipped, or
losing samples. While it is LOST nobody can be heard, and the run must not advance by ear.

The ears need a part of a second for an answer. They are asked in the first pause already; when
nothing more is said, their verdict stands, and comes as soon as the pause is long enough.
"""

from __future__ import annotations

import multiprocessing
import time
from collections.abc import Callable
from dataclasses import dataclass
from queue import Empty
from typing import Any

import numpy as np
import soxr

from assistant.ears.audio import SILENCE_DB, clipped_share, frame_levels
from assistant.ears.base import SAMPLE_RATE, Listener, Samples, Signal
from assistant.ears.mic_child import Message, run
from assistant.ears.utterances import Cutter, Utterance
from assistant.phrases.live import Hearing, Live

NOISE_RISE_DB = 0.07  # a block of 20 ms: 10 dB in three seconds, longer than any phrase is spoken without pause


@dataclass(frozen=True, slots=True)
class Watch:
    """When a microphone counts as lost; seconds, except where said.

    ``dead``: no sound and no sign of life. ``silent``: exact digital silence, as from a muted or
    broken microphone. ``clipped``: more than ``clip_share`` of the samples cut off. ``retry``:
    between attempts to open it again. ``opening``: how long that may take on a slow machine.
    ``queue``: blocks held for a slow listener (about 10 s).
    """

    dead: float = 2.0
    silent: float = 8.0
    clipped: float = 4.0
    clip_share: float = 0.3
    retry: float = 1.0
    opening: float = 15.0
    queue: int = 500


class MicrophoneEars:
    """Hears through a microphone; for one thread.

    ``device`` is part of a device's name, "" for the machine's own, or "pipe:PATH" for a stand-in.
    ``status`` says in one sentence how the microphone stands; ``level_db`` and ``noise_db`` are the
    last block's level and the quietest of late, dB of full scale, for a screen to show.
    """

    def __init__(
        self,
        pair: Listener,
        device: str = "",
        watch: Watch = Watch(),
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._pair = pair
        self._device = device
        self._watch = watch
        self._clock = clock
        self._context = multiprocessing.get_context("spawn")
        self._process: Any = None
        self._queue: Any = None
        self._cutter = Cutter()
        self._resampler: Any = None
        self._live: Live | None = None
        self._cold = False  # whether the ears can use a quiet moment
        self._guess: Hearing | None = None  # what the utterance under way comes to if nothing more is said
        self._lost = False
        self._opened_at = self._last_life = self._last_sound = self._last_unclipped = clock()
        self._alive = False  # the child has given a sign of life
        self._damaged = False
        self._sound_came = False  # real sound since the device was last opened
        self._opened = ""
        self._failure = ""
        self.lost_samples = 0
        self.last_samples: Samples | None = None
        self.level_db: float | None = None
        self.noise_db: float | None = None
        self.status = "The microphone is being opened."

    patient = True  # the run waits for somebody who may need time

    @property
    def name(self) -> str:
        """The recognisers' names."""
        return self._pair.name

    @property
    def lost(self) -> bool:
        """Whether nobody can be heard."""
        return self._lost

    @property
    def speaking(self) -> bool:
        """Whether somebody speaks now, or seems to begin."""
        return self._cutter.speaking or self._cutter.stirring

    def fresh(self) -> None:
        """Forget the sound under way: it may be the assistant's own voice. For the thread that listens."""
        self._cutter.reset()
        self._guess = None

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Return the next utterance, NOTHING after ``timeout`` seconds, or LOST and BACK once each."""
        until = None if timeout is None else self._clock() + timeout
        if live != self._live:
            self._live, self._guess, self._cold = live, None, True
            self._pair.prepare(live)
        while until is None or self._clock() < until:
            self._keep_running()
            heard = self._take(live)
            if heard is not None:
                return heard
            if self._cold and not self.speaking:
                self._cold = self._pair.warm(live)
            change = self._health()
            if change is not None:
                return change
        return Signal.NOTHING

    def close(self) -> None:
        """End the child and free the recognisers."""
        self._end_child()
        self._pair.close()

    def _take(self, live: Live) -> Hearing | None:
        try:
            kind, body = self._queue.get(timeout=0.1)
        except (Empty, EOFError, OSError):
            return None
        self._last_life, self._alive = self._clock(), True
        if kind == "open":
            self._begin(*body)
        elif kind == "lost-samples":
            self.lost_samples += int(body)
            self._damaged = True
        elif kind == "failed":
            self._failure = f"The microphone fails ({body}); check its plug."
            self._last_life -= 2 * self._watch.dead
        elif kind == "sound":
            return self._sound(np.frombuffer(body, np.int16), live)
        return None

    def _begin(self, name: str, rate: int) -> None:
        self._opened = self.status = f"Listening through {name} at {rate} samples a second."
        self._failure = ""
        self._resampler = None if rate == SAMPLE_RATE else soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="int16")
        now = self._clock()
        self._opened_at = self._last_sound = self._last_unclipped = now
        self._sound_came = False
        self._cutter.reset()
        self._guess = None

    def _sound(self, block: Samples, live: Live) -> Hearing | None:
        now = self._clock()
        levels = frame_levels(block)
        self._meter(float(levels.max()))
        if float(levels.max()) > SILENCE_DB:
            self._last_sound, self._sound_came = now, True
        if clipped_share(block) < self._watch.clip_share:
            self._last_unclipped = now
        if self._resampler is not None:
            block = np.asarray(self._resampler.resample_chunk(block), np.int16)
        for utterance in self._cutter.feed(block):
            return self._whole(utterance, live)
        if self._damaged:
            self._guess = None
        if (early := self._cutter.early()) is not None and not self._damaged:
            self.last_samples = early.samples
            self._guess = self._pair.hear(early, live)
        if (heard := self._guess) is not None:
            whole = is_whole(heard, live)  # a number without its unit waits for the whole pause
            if (whole or heard.phrase is not None) and self._cutter.may_end(whole=whole):
                self._cutter.accept()
                self._guess = None
                return heard
        if not self._cutter.speaking:
            self._damaged = False
        return None

    def _whole(self, utterance: Utterance, live: Live) -> Hearing:
        """Return what an utterance that has ended comes to: as found in the pause, or by hearing it now."""
        damaged, self._damaged = self._damaged, False
        heard, self._guess = self._guess, None
        if heard is not None and not damaged and not utterance.too_long:
            return heard
        self.last_samples = utterance.samples
        return self._pair.hear(utterance, live, damaged=damaged)

    def _meter(self, level: float) -> None:
        """Follow the level, and the noise: down at once, up slowly, so that speech hardly moves it."""
        self.level_db = round(level, 1)
        noise = level if self.noise_db is None else min(level, self.noise_db + NOISE_RISE_DB)
        self.noise_db = round(noise, 2)

    def _health(self) -> Signal | None:
        now = self._clock()
        trouble = ""
        if now - self._last_life > self._watch.dead:
            trouble = self._failure or "The microphone is gone; check its plug."
        elif now - self._last_sound > self._watch.silent:
            trouble = "The microphone is silent; check that it is not switched off."
        elif now - self._last_unclipped > self._watch.clipped:
            trouble = "The microphone is overdriven; turn its level down or hold it further away."
        if trouble and not self._lost:
            self._lost, self.status = True, trouble
            return Signal.LOST
        if not trouble and self._lost and self._sound_came:
            self._lost, self.status = False, self._opened
            return Signal.BACK
        return None

    def _keep_running(self) -> None:
        """Start the child, and start it again when it ended or shows no life."""
        now = self._clock()
        if self._process is not None:
            ended = not self._process.is_alive() and self._queue.empty()
            patience = 2 * self._watch.dead if self._alive else self._watch.opening
            hung = now - max(self._last_life, self._opened_at) > patience
            if not (ended or hung) or now - self._opened_at < self._watch.retry:
                return
            self._end_child()
        self._queue = self._context.Queue(self._watch.queue)
        self._process = self._context.Process(target=run, args=(self._device, self._queue), daemon=True)
        self._process.start()
        self._alive = False
        self._opened_at = now
        if not self._lost:
            self._last_life = self._last_sound = self._last_unclipped = now + self._watch.dead

    def _end_child(self) -> None:
        if self._process is None:
            return
        self._process.terminate()
        self._process.join(2.0)
        if self._process.is_alive():
            self._process.kill()
            self._process.join(2.0)
        self._queue.close()
        self._queue.cancel_join_thread()
        self._process = None



def is_whole(heard: Hearing, live: Live) -> bool:
    """Whether an answer is complete: no live phrase goes on from it, and a number has its unit."""
    if heard.phrase in live.emergency:
        return True
    if heard.phrase is not None:
        return not any(say.startswith(f"{heard.words} ") for says in live.phrases.values() for say in says)
    return heard.reading is not None and heard.reading.unit is not None


__all__ = ["Message", "MicrophoneEars", "Watch"]
