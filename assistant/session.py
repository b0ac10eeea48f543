"""One run: ears to engine to log, then to voice and screen, in that order and no other.

A decision is on the disk before anyone hears or sees it. When the log cannot be written the run
stops: that is said, and nothing counts any more.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from assistant.ears.base import Ears, Signal
from assistant.engine.events import Begin, DeviceChange, Event, Microphone, Resumed, Tick, event_of, event_to_data
from assistant.engine.record import decision_to_data
from assistant.engine.state import Decision, Kind, Line, Phase, State
from assistant.errors import LogError
from assistant.journal.audio import keep_audio
from assistant.journal.records import Closed, Decided, Device, Spoke
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing
from assistant.prepare import Prepared
from assistant.voice.base import Line as VoiceLine
from assistant.voice.base import Tone, Voice
from assistant.voice.loudness import Change
from assistant.wording import Sentence

TICK_S = 0.5  # how often silence and holds are looked at
LONGEST_SPEECH_S = 120.0  # a voice that has not ended by then hangs; the run goes on by the screen

TONES = {
    Kind.ACCEPTED: Tone.HEARD,
    Kind.REFUSED: Tone.REFUSED,
    Kind.STOPPED: Tone.STOP,
    Kind.FAILED: Tone.STOP,
}


@dataclass(frozen=True, slots=True)
class Shown:
    """What a screen gets: the state and what was just heard, decided and said. Read-only."""

    prepared: Prepared
    state: State
    hearing: Hearing | None
    event: Event
    decision: Decision
    sentences: tuple[Sentence, ...]


Screen = Callable[[Shown], None]


@dataclass
class Session:
    """A run under way.

    ``patient`` ears (microphone, keyboard) let real time pass in silence; a script or recordings do
    not, so a hold is waited out for them.
    """

    prepared: Prepared
    writer: Writer
    ears: Ears
    voice: Voice
    screen: Screen
    patient: bool = True
    keep_sound: Path | None = None
    state: State = field(init=False)
    sleep: Callable[[float], None] = time.sleep

    def __post_init__(self) -> None:
        self.state = self.prepared.engine.initial()

    # -- the loop -------------------------------------------------------------------------------
    def run(self, resumed: Resumed | None = None) -> bool:
        """Go on to the end; True when the run is over, False when the ears ended first."""
        try:
            self.take(resumed if resumed is not None else Begin())
            while self.state.phase is not Phase.OVER:
                if not self.turn():
                    return False
            outcome = self.state.outcome.value
            claim = self.prepared.plan.claim if outcome == "done" else outcome
            self.writer.finish(Closed(outcome=claim))
        except LogError:
            self._log_lost()
            raise
        return True

    def turn(self) -> bool:
        """Wait for one thing to happen and deal with it; False when no more will come."""
        if self.state.phase is Phase.HOLDING and not self.patient:
            self.sleep(TICK_S)
            self.take(Tick())
            return True
        got = self.ears.listen(self.prepared.live(self.state), TICK_S if self.patient else None)
        if isinstance(got, Hearing):
            self.take(event_of(got), got)
        elif got is Signal.NOTHING:
            self.take(Tick())
        elif got is Signal.ENDED:
            return False
        else:
            change = DeviceChange.LOST if got is Signal.LOST else DeviceChange.BACK
            self.writer.append(Device(what="microphone", state=change.value))
            self.take(Microphone(change))
        return True

    def take(self, event: Event, hearing: Hearing | None = None) -> Decision:
        """Decide on an event, log it, and only then show and say what came of it."""
        now = self.writer.now()
        decision = self.prepared.engine.decide(self.state, event, now)
        if decision.kind is Kind.NOTHING and decision.state == self.state and not decision.lines:
            return decision
        if hearing is not None:
            self._keep(hearing)
            self.writer.hear(hearing, at=now)
        data = decision_to_data(self.prepared.plan, self.state, decision)
        self.writer.append(Decided(event=event_to_data(event), decision=data), at=now)
        self.state = decision.state
        sentences = tuple(self.prepared.wording.sentences(decision.lines))
        self.screen(Shown(self.prepared, self.state, hearing, event, decision, sentences))
        self._say(decision, sentences)
        return decision

    # -- out ------------------------------------------------------------------------------------
    def _say(self, decision: Decision, sentences: Sequence[Sentence]) -> None:
        if decision.kind is Kind.SETTING:
            self.voice.adjust(cast("Change", decision.reason))
        tone = TONES.get(decision.kind)
        if decision.kind is Kind.ASKED_AGAIN and decision.reason != "silence":
            tone = Tone.NOT_UNDERSTOOD
        if tone is not None:
            self.voice.tone(tone)
        if not sentences:
            return
        began = self.writer.now()
        receipt = self.voice.say([VoiceLine(one.kind, one.text, one.name) for one in sentences])
        ended = receipt.wait(LONGEST_SPEECH_S)
        lines = tuple({"kind": one.kind, "text": one.text} for one in sentences)
        complete = ended and not receipt.troubles
        self.writer.append(Spoke(lines=lines, complete=complete, took_ms=self.writer.now() - began))

    def _keep(self, hearing: Hearing) -> None:
        samples = getattr(self.ears, "last_samples", None)
        if self.keep_sound is not None and hearing.audio_sha256 and samples is not None:
            keep_audio(self.keep_sound, samples)

    def _log_lost(self) -> None:
        sentence = self.prepared.wording.sentence(Line("line", "log-lost"))
        with contextlib.suppress(Exception):  # the voice must not hide why the run stopped
            self.voice.tone(Tone.STOP)
            self.voice.say([VoiceLine(sentence.kind, sentence.text, sentence.name)]).wait(LONGEST_SPEECH_S)
