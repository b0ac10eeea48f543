"""Pads as ears: a press on the page ends in the same hearing as a spoken or typed answer.

A press names the question it was shown for, and carries an id of its own. It is refused when the
question has changed meanwhile, when the id was used before, when it follows a change faster than
anyone can have read it (a glove that bounces), and when too many come. The emergency stop waits
behind nothing: it needs no current question, no place in the queue and no allowance.
"""

from __future__ import annotations

import queue
import re
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from assistant.ears.base import Ears, Samples, Signal
from assistant.ears.typed import typed_hearing
from assistant.phrases.live import Hearing, Live, Role
from assistant.screen.board import Board, Question
from assistant.screen.view import NUMBER

QUEUED: Final = 4  # presses that may wait; a thumb is slower than the engine
A_SECOND: Final = 5.0  # presses allowed a second, over time
BURST: Final = 10.0
REMEMBERED: Final = 4096  # ids of earlier presses
READING_TIME_S: Final = 0.5  # nobody reads and answers a new question faster; a bouncing glove does
SLICE_S: Final = 0.01  # how long the other ears are listened to before the pads are looked at

_ID = re.compile(r"[A-Za-z0-9_-]{16,64}")
_VALUE = re.compile(r"[0-9]{1,5}(\.[0-9]{1,4})?")
_UNIT = re.compile(r"[A-Za-z]{1,3}")


class Fate(StrEnum):
    """What becomes of a press."""

    TAKEN = "taken"
    MALFORMED = "malformed"
    REPLAYED = "replayed"
    STALE = "stale"
    TOO_SOON = "too-soon"
    NOT_OFFERED = "not-offered"
    TOO_MANY = "too-many"


@dataclass(frozen=True, slots=True)
class Press:
    """One press: its own ``id``, the ``question`` it was shown for, the phrase or number it stands for."""

    id: str
    question: str
    phrase: str
    value: str = ""
    unit: str = ""

    @classmethod
    def from_data(cls, data: object) -> Press | None:
        """Read a press from JSON; None for anything that is not exactly one."""
        if not isinstance(data, dict) or not {"id", "question", "phrase"} <= set(data) <= set(cls.__slots__):
            return None
        if not all(isinstance(item, str) and len(item) <= 64 for item in data.values()):
            return None
        press = cls(**data)
        number = press.phrase == NUMBER
        well = bool(_VALUE.fullmatch(press.value) and _UNIT.fullmatch(press.unit)) if number else not (
            press.value or press.unit
        )
        return press if well and _ID.fullmatch(press.id) else None


class Pads:
    """Takes presses on the server's thread and hands them to the session's."""

    def __init__(
        self,
        board: Board,
        clock: Callable[[], float] = time.monotonic,
        *,
        reading_time: float = READING_TIME_S,
        a_second: float = A_SECOND,
    ) -> None:
        self._board = board
        self._clock = clock
        self._reading_time = reading_time
        self._a_second = a_second
        self._lock = threading.Lock()
        self._seen: dict[str, None] = {}
        self._queue: queue.Queue[tuple[Press, Question, float]] = queue.Queue(QUEUED)
        self._stop: tuple[Press, float] | None = None
        self._came = threading.Event()
        self._allowance, self._last = BURST, clock()

    @property
    def urgent(self) -> bool:
        """Whether an emergency stop waits to be taken."""
        return self._stop is not None

    def press(self, data: object) -> Fate:
        """Judge one press, and queue it when it counts."""
        press = Press.from_data(data)
        if press is None:
            return Fate.MALFORMED
        now, question = self._clock(), self._board.question
        with self._lock:
            if press.id in self._seen:
                return Fate.REPLAYED
            if question.stop and press.phrase == question.stop:
                self._remember(press.id)
                self._stop = (press, now)
                self._came.set()
                return Fate.TAKEN
            if not self._allowed(now):
                return Fate.TOO_MANY
            self._remember(press.id)
            return self._judge(press, question, now)

    def _judge(self, press: Press, question: Question, now: float) -> Fate:
        if press.question != question.name:
            return Fate.STALE
        if press.phrase not in question.phrases:
            return Fate.NOT_OFFERED
        if now - question.since < self._reading_time:
            return Fate.TOO_SOON
        try:
            self._queue.put_nowait((press, question, now))
        except queue.Full:
            return Fate.TOO_MANY
        self._came.set()
        return Fate.TAKEN

    def wait(self, seconds: float) -> None:
        """Wait until a press comes, at most ``seconds``."""
        if self._came.wait(seconds):
            self._came.clear()

    def take(self, live: Live, *, only_stop: bool = False) -> Hearing | None:
        """Return the next press as a hearing; one whose question has passed is dropped and told."""
        with self._lock:
            stop, self._stop = self._stop, None
        if stop is not None:
            return self._hearing(stop[0], Role.DRIVER, live, stop[1])
        if only_stop:
            return None
        while True:
            try:
                press, question, at = self._queue.get_nowait()
            except queue.Empty:
                return None
            if self._board.question.name != question.name:
                self._board.notice("too-late")
                continue
            who = Role(question.who) if question.who else Role.DRIVER
            return self._hearing(press, who, live, at)

    def _hearing(self, press: Press, who: Role, live: Live, at: float) -> Hearing:
        now = self._clock()
        if press.phrase == NUMBER:
            typed = typed_hearing(f"{press.value} {press.unit}", live, at, now, engine="pad")
            return Hearing(
                "pad", typed.words, reading=typed.reading, unheard=typed.unheard, who=who, start=at, end=now
            )
        return Hearing("pad", phrase=press.phrase, who=who, start=at, end=now)

    def _remember(self, press_id: str) -> None:
        self._seen[press_id] = None
        if len(self._seen) > REMEMBERED:
            del self._seen[next(iter(self._seen))]

    def _allowed(self, now: float) -> bool:
        self._allowance = min(BURST, self._allowance + (now - self._last) * self._a_second)
        self._last = now
        if self._allowance < 1.0:
            return False
        self._allowance -= 1.0
        return True


class PadsOnly:
    """Ears for a run by pads alone: nothing is ever heard, and it never ends."""

    patient = True

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Let the time pass."""
        del live
        time.sleep(SLICE_S if timeout is None else timeout)
        return Signal.NOTHING

    def close(self) -> None:
        """Have nothing to free."""


class EarsAndPads:
    """Other ears and the pads as one source; a press goes before what is being listened to."""

    def __init__(self, ears: Ears, pads: Pads, clock: Callable[[], float] = time.monotonic) -> None:
        self.ears = ears
        self._pads = pads
        self._clock = clock

    @property
    def urgent(self) -> bool:
        """Whether an emergency stop was pressed and not taken yet."""
        return self._pads.urgent

    @property
    def patient(self) -> bool:
        """Whether the other ears are: a script or a recorded driver with a page open is still one."""
        return bool(getattr(self.ears, "patient", True))

    @property
    def opening(self) -> bool:
        """Whether the other ears are not open yet: of the pads only the stop counts then."""
        return bool(getattr(self.ears, "opening", False))

    @property
    def last_samples(self) -> Samples | None:
        """The sound of the last hearing, if it had any."""
        found: Samples | None = getattr(self.ears, "last_samples", None)
        return found

    @property
    def speaking(self) -> bool:
        """Whether the other ears hear somebody speak now."""
        return bool(getattr(self.ears, "speaking", False))

    def fresh(self) -> None:
        """Have the other ears forget the sound under way."""
        if (fresh := getattr(self.ears, "fresh", None)) is not None:
            fresh()

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Return the next press, else what the other ears report within ``timeout``."""
        until = None if timeout is None else self._clock() + timeout
        while True:
            pressed = self._pads.take(live, only_stop=self.opening)
            if pressed is not None:
                return pressed
            left = SLICE_S if until is None else min(SLICE_S, until - self._clock())
            if left <= 0:
                return Signal.NOTHING
            if isinstance(self.ears, PadsOnly):
                self._pads.wait(left)
                continue
            got = self.ears.listen(live, left)
            if got is not Signal.NOTHING:
                return got

    def ahead(self, live: Live, timeout: float) -> bool:
        """Whether the other ears have a line that counts now."""
        ask = getattr(self.ears, "ahead", None)
        return ask is not None and bool(ask(live, timeout))

    def close(self) -> None:
        """Stop listening."""
        self.ears.close()
