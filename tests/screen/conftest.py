"""A real run behind the page: real log, engine, words, server and browser; only the hands are the test's."""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from assistant.ears.base import Ears, Signal
from assistant.engine.events import Heard, Measured
from assistant.engine.guide import reply
from assistant.engine.state import Phase
from assistant.journal.keys import tablet_key
from assistant.journal.reader import LOG, LogReader
from assistant.journal.records import Opened
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Live
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.screen.attach import State
from assistant.screen.board import Board
from assistant.screen.pads import EarsAndPads, Fate, Pads, PadsOnly
from assistant.screen.server import Screen
from assistant.session import Session
from assistant.voice.base import Voice
from assistant.voice.play import SilentVoice

PATIENCE = 20.0


@dataclass
class Cab:
    """One run with its page. The hands may press through the browser, or here, which is quicker."""

    folder: Path
    prepared: Prepared
    voice: Voice
    ears: Ears
    reading_time: float = 0.0
    a_second: float = 1000.0
    dpi: float | None = None
    headset: bool = False
    board: Board = field(default_factory=Board)
    errors: list[BaseException] = field(default_factory=list)

    def start(self) -> Cab:
        """Begin the run in a thread of its own."""
        key = tablet_key(self.folder / "keys")
        opened = Opened(
            run=f"cab-{uuid.uuid4().hex[:8]}", program="0", procedure=self.prepared.plan.procedure,
            rig=self.prepared.plan.rig, site=self.prepared.plan.site, lang="en", ears="pads", voice="none",
            files={}, consent_audio=False, consent_words=True, key=key.public,
        )  # fmt: skip
        self.writer = Writer.begin(self.folder, opened, key)
        self.pads = Pads(self.board, reading_time=self.reading_time, a_second=self.a_second)
        self.screen = Screen(self.board, self.pads, dpi=self.dpi, status=State(self.ears, self.voice, headset=False))
        self.screen.start()
        self.session = Session(
            self.prepared, self.writer, EarsAndPads(self.ears, self.pads), self.voice, self.board.show,
            said=self.board.said, notice=self.board.notice, headset=self.headset,
        )  # fmt: skip
        self.thread = threading.Thread(target=self._run, daemon=True)
        self.thread.start()
        wait_for(lambda: self.board.latest > 0)
        before = -1
        while before != self.records:  # what is said at the beginning is in the log, so that a test can count on
            before = self.records
            time.sleep(0.1)
        return self

    def _run(self) -> None:
        try:
            self.session.run()
        except BaseException as error:
            self.errors.append(error)

    @property
    def step(self) -> str:
        """The id of the step asked now."""
        return self.prepared.plan.steps[self.session.state.step].id

    @property
    def records(self) -> int:
        """How many lines the log has."""
        return (self.writer.folder / LOG).read_bytes().count(b"\n")

    def log_count(self, kind: str) -> int:
        """How many records of a kind the log has."""
        return sum(1 for entry in LogReader(self.writer.folder) if entry.kind == kind)

    def press(self, phrase: str, **more: str) -> Fate:
        """Press a pad without the browser."""
        name = self.board.question.name
        return self.pads.press({"id": uuid.uuid4().hex, "question": name, "phrase": phrase, **more})

    def answer(self) -> None:
        """Press what a driver who does everything right would press now, and wait until it counts."""
        before = self.board.question.name
        told = reply(self.prepared.plan, self.session.state).event
        if isinstance(told, Measured):
            self.press("<number>", value=str(told.value), unit=str(told.unit))
        elif isinstance(told, Heard):
            self.press(told.phrase)
        wait_for(lambda: self.board.question.name != before)

    def to(self, step: str, phase: Phase = Phase.ASKING) -> Cab:
        """Go on faultlessly until ``step`` is asked (or read back, with ``phase``)."""
        for _ in range(400):
            if self.step == step and self.session.state.phase is phase:
                return self
            self.answer()
        raise AssertionError(f"{step} is never reached")

    def stop(self) -> None:
        """Let the run fall where it stands."""
        self.screen.close()
        self.ears.close()
        # The session's thread is left waiting for pads that cannot come any more; it is a daemon.
        self.writer.close()


def wait_for(true: Callable[[], bool], seconds: float = PATIENCE) -> None:
    """Wait until ``true()``, at most ``seconds``."""
    until = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < until, "it never came to pass"
        time.sleep(0.003)


MakeCab = Callable[..., Cab]


@pytest.fixture(autouse=True)
def brisk(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look at the pads more often than a run does, so that a hundred presses take no minute."""
    monkeypatch.setattr("assistant.screen.pads.SLICE_S", 0.005)


@pytest.fixture(scope="session")
def couple() -> Prepared:
    """The coupling on the default rig."""
    return prepare(library(), grammars(), "couple")


@pytest.fixture
def cab(tmp_path: Path, couple: Prepared) -> Iterator[MakeCab]:
    """Make runs that are ended with the test."""
    made: list[Cab] = []

    def make(**more: object) -> Cab:
        settings: dict[str, object] = {"prepared": couple, "voice": SilentVoice(), "ears": PadsOnly(), **more}
        one = Cab(tmp_path, **settings)  # type: ignore[arg-type]
        made.append(one)
        return one.start()

    yield make
    for one in made:
        one.stop()


class ListEars:
    """Hears what a test puts in its list, as if it had been said."""

    patient = True

    def __init__(self) -> None:
        self.coming: list[Hearing] = []
        self.signals: list[Signal] = []
        self.speaking = False
        self.turns = 0

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:  # noqa: ARG002
        """Return the next one."""
        self.turns += 1
        if self.coming:
            return self.coming.pop(0)
        if self.signals:
            return self.signals.pop(0)
        time.sleep(min(timeout or 0.01, 0.01))
        return Signal.NOTHING

    def close(self) -> None:
        """Free nothing."""
