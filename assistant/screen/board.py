"""The board that every open page reads: what was decided, by the number of its record in the log.

Written by the session's thread, read by the server's. It keeps the last events only; a page that was
away longer gets the latest view, which is whole in itself.
"""

from __future__ import annotations

import json
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from assistant.screen.view import offered, view_of
from assistant.session import Shown
from assistant.talk import Said
from assistant.voice.base import How

KEPT = 256


@dataclass(frozen=True, slots=True)
class Told:
    """One event for the pages: ``record`` is its number in the log, or None when it is in no log."""

    serial: int
    name: str
    data: str
    record: int | None


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked now, since when (seconds, steady clock), and the pads that answer it."""

    name: str
    since: float
    phrases: frozenset[str]
    stop: str
    who: str


class Board:
    """Keeps what the pages show; ``watch`` is called from the writing thread after each change."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._events: deque[Told] = deque(maxlen=KEPT)
        self._latest: Told | None = None
        self._serial = 0
        self._question = Question("", 0.0, frozenset(), "", "")
        self._watchers: set[Callable[[], None]] = set()
        self.ended = False

    # -- written by the session -----------------------------------------------------------------
    def show(self, shown: Shown) -> None:
        """Take a decision that is in the log."""
        view = view_of(shown)
        name, stop = str(view["question"]), view["stop"]
        phrase = str(stop["phrase"]) if isinstance(stop, dict) else ""
        with self._lock:
            since = self._question.since if name == self._question.name else self._clock()
            self._latest = self._keep("view", view, shown.record)
            self._question = Question(name, since, offered(view), phrase, str(view["who"]))
        self._wake()

    def said(self, said: Said) -> None:
        """Take what became of spoken lines; a line that was not heard must stand on the screen."""
        failed = [one for one in said.lines if one.how in {How.TONE, How.FAILED}]
        reasons = list(dict.fromkeys(one.reason for one in failed if one.reason))
        spoken = {"record": said.record, "spoken": said.complete, "failed": len(failed), "reasons": reasons[:2]}
        self._tell("said", spoken, said.record)

    def notice(self, text: str) -> None:
        """Tell something that is no decision, as that the voice changed or a pad came too late."""
        self._tell("notice", {"text": text}, None)

    def end(self, text: str) -> None:
        """Say how the session ended and let the pages go."""
        self._tell("end", {"text": text}, None)
        self.ended = True
        self._wake()

    @property
    def latest(self) -> int:
        """The number of the last decision's record; 0 before the first."""
        with self._lock:
            return 0 if self._latest is None else self._latest.record or 0

    # -- read by the server ---------------------------------------------------------------------
    @property
    def question(self) -> Question:
        """What is asked now."""
        with self._lock:
            return self._question

    def since(self, record: int | None) -> list[Told]:
        """Return what a page lacks that has seen up to ``record``: all of it, or the latest view and on."""
        with self._lock:
            events = list(self._events)
            latest = self._latest
        known = {one.record for one in events if one.record is not None}
        if record is not None and record in known:
            last = max(one.serial for one in events if one.record == record)
            return [one for one in events if one.serial > last]
        if latest is None:
            return events
        return [latest, *(one for one in events if one.serial > latest.serial)]

    def after(self, serial: int) -> list[Told]:
        """Return the events after one of ours; the latest view when some were lost meanwhile."""
        with self._lock:
            events, latest = list(self._events), self._latest
        later = [one for one in events if one.serial > serial]
        if latest is not None and events and events[0].serial > serial + 1:
            later = [latest, *(one for one in later if one.serial > latest.serial)]
        return later

    def watch(self, call: Callable[[], None]) -> Callable[[], None]:
        """Have ``call`` called after each change; returns what ends that."""
        with self._lock:
            self._watchers.add(call)

        def leave() -> None:
            with self._lock:
                self._watchers.discard(call)

        return leave

    # -- inside ---------------------------------------------------------------------------------
    def _tell(self, name: str, data: Mapping[str, object], record: int | None) -> None:
        with self._lock:
            self._keep(name, data, record)
        self._wake()

    def _keep(self, name: str, data: Mapping[str, object], record: int | None) -> Told:
        """Add an event; the caller holds the lock."""
        self._serial += 1
        told = Told(self._serial, name, json.dumps(data, ensure_ascii=False), record)
        self._events.append(told)
        return told

    def _wake(self) -> None:
        with self._lock:
            watchers = tuple(self._watchers)
        for call in watchers:
            call()
