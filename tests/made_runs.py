"""Runs for the trainer's side: the real engine and the real writer, a driver by script, clocks that a test sets."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

import numpy as np

from assistant.engine.events import Begin, Event, Heard, Measured, NotHeard, Tick, event_to_data
from assistant.engine.guide import reply
from assistant.engine.record import decision_to_data
from assistant.engine.state import Phase, State
from assistant.journal.audio import keep_audio
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey
from assistant.journal.records import Closed, Decided, Device, Opened, Spoke
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Reading, Role, Unheard
from assistant.prepare import Prepared

TYPED = {"engine": "moonshine-tiny.en+whisper-tiny.en"}


class Clocks:
    """Two clocks that only a test moves."""

    def __init__(self, wall: int = 1_935_554_828_000) -> None:
        self.wall_ms, self.mono_ms = wall, 0

    def wall(self) -> int:
        """The wall clock."""
        return self.wall_ms

    def mono(self) -> int:
        """The steady clock."""
        return self.mono_ms

    def go(self, ms: int) -> None:
        """Let time pass."""
        self.wall_ms += ms
        self.mono_ms += ms


class Unsynced(Disk):
    """Writes without waiting for the disk: a test's log need not outlive a power cut."""

    def sync(self, fd: int) -> None:
        """Do nothing."""


@dataclass
class Made:
    """One run being made. Each thing a driver says takes time and is heard over some noise."""

    logs: Path
    key: TabletKey
    prepared: Prepared
    run: str = "20310504T060708Z-0a1b2c"
    notes: tuple[str, ...] = ()
    words: bool = True
    audio: bool = False
    noise_db: float = -52.0
    pace_ms: int = 9_000
    call_sign: str = ""
    files: dict[str, str] | None = None
    clocks: Clocks = field(default_factory=Clocks)

    def __post_init__(self) -> None:
        plan = self.prepared.plan
        opened = Opened(
            run=self.run, program="0.1.0", procedure=plan.procedure, rig=plan.rig, site=plan.site, lang=plan.lang,
            ears="mic", voice="speaker", files=self.prepared.hashes if self.files is None else self.files,
            consent_audio=self.audio, consent_words=self.words, key=self.key.public,
            notes=(f"crew: {plan.crew}", *self.notes), call_sign=self.call_sign,
        )  # fmt: skip
        self.writer = Writer.begin(self.logs, opened, self.key, clocks=self.clocks, disk=Unsynced())
        self.state: State = self.prepared.engine.initial()
        self.decide(Begin())

    @property
    def folder(self) -> Path:
        """The run's own folder."""
        return self.writer.folder

    @property
    def step(self) -> str:
        """The step that is asked."""
        return self.prepared.plan.steps[self.state.step].id

    def decide(self, event: Event) -> None:
        """Put an event through the engine, log it, and say what came of it."""
        plan = self.prepared.plan
        decision = self.prepared.engine.decide(self.state, event, self.writer.now())
        data = decision_to_data(plan, self.state, decision)
        self.writer.append(Decided(event=event_to_data(event), decision=data))
        self.state = decision.state
        sentences = self.prepared.wording.sentences(decision.lines)
        if sentences:
            took = sum(400 + 55 * len(one.text) for one in sentences)
            self.clocks.go(took)
            lines = tuple({"kind": one.kind, "text": one.text, "how": "spoken"} for one in sentences)
            self.writer.append(Spoke(lines=lines, complete=True, took_ms=took))

    def hear(self, words: str, event: Event, *, after_ms: int | None = None) -> None:
        """Have something said after some time, and decided on."""
        self.clocks.go(self.pace_ms if after_ms is None else after_ms)
        long = 300 + 60 * len(words)
        self.clocks.go(long)
        now = self.clocks.mono_ms / 1000
        hearing = Hearing(
            TYPED["engine"], words, who=getattr(event, "who", Role.DRIVER), start=now - long / 1000, end=now,
            speech_db=-20.0, noise_db=self.noise_db,
        )  # fmt: skip
        if isinstance(event, Heard):
            hearing = replace(hearing, phrase=event.phrase)
        elif isinstance(event, Measured):
            hearing = replace(hearing, reading=Reading(event.value, event.unit, words))
        elif isinstance(event, NotHeard):
            hearing = replace(hearing, unheard=event.why)
        if self.audio:
            tone = (3000 * np.sin(np.arange(long * 16) / 16_000 * 2 * np.pi * 330)).astype(np.int16)
            hearing = replace(hearing, audio_sha256=keep_audio(self.folder, tone, Unsynced()))
        self.writer.hear(hearing)
        self.decide(event)

    def say(self, phrase: str, words: str = "", **more: int) -> None:
        """Say a phrase of the book."""
        self.hear(words or self.prepared.book.says(phrase)[0], Heard(phrase), **more)

    def mumble(self, words: str = "lovely weather") -> None:
        """Say what is no phrase."""
        self.hear(words, NotHeard(Unheard.NOT_A_PHRASE))

    def good(self) -> None:
        """Say or do what a driver who does everything right would."""
        told = reply(self.prepared.plan, self.state)
        if isinstance(told.event, Heard):
            self.say(told.event.phrase)
        elif isinstance(told.event, Measured):
            self.hear(f"{told.event.value} {told.event.unit}", told.event)
        elif isinstance(told.event, Tick):
            self.clocks.go(told.wait_ms)
            self.decide(Tick())

    def to(self, step: str, phase: Phase = Phase.ASKING) -> Made:
        """Go on faultlessly until a step is asked."""
        for _ in range(400):
            if self.step == step and self.state.phase is phase:
                return self
            self.good()
        raise AssertionError(f"{step} is never asked")

    def reading(self, value: str, unit: str) -> None:
        """Say a number and confirm it."""
        self.hear(f"{value} {unit}", Measured(Decimal(value), unit))
        self.say("read-back-right")

    def end(self) -> Path:
        """Go on faultlessly to the end and close the log."""
        while self.state.phase is not Phase.OVER:
            self.good()
        outcome = self.state.outcome.value
        claim = self.prepared.plan.claim if outcome == "done" else outcome
        self.writer.finish(Closed(outcome=claim))
        return self.folder


def with_mistakes(made: Made) -> Path:
    """A coupling with what a trainer looks for: refusals, a misunderstanding, a wait, a failure, and done in the end."""
    made.good()
    made.say("pulling-away")
    made.mumble()
    made.to("see-pin")
    made.say("raising-suspension")
    made.writer.append(Device("disk", "slow", "A record took 3.1 s to be written."))
    made.say("stand-by")
    made.say("go-ahead", after_ms=150_000)
    made.to("see-jaw")
    made.say("jaw-open")
    if made.state.phase is Phase.CONFIRMING:
        made.say("read-back-right")
    return made.end()


def fleet(folder: Path, key: TabletKey, prepared: Prepared, count: int = 8) -> list[Path]:
    """A small fleet: call signs in turn, noise that rises, readings that creep up, one slip or another in each."""
    made = []
    for number in range(count):
        wall = 1_935_554_828_000 + number * 12 * 86_400_000
        one = Made(
            folder, key, prepared, run=f"fleet-{number:03d}", call_sign=f"Yard {'ABCD'[number % 4]}",
            noise_db=-60.0 + 4 * number, pace_ms=3_000 + 900 * (number % 5), clocks=Clocks(wall),
        )  # fmt: skip
        one.good()
        if number % 2:
            one.mumble()
        one.say("pulling-away")
        one.to("pressure")
        one.reading(str(105 + 3 * number), "psi")
        if number == 3:
            one.to("see-jaw").say("jaw-open")
        made.append(one.end())
    return made
