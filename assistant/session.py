"""One run: ears to engine to log, then to voice and screen, in that order and no other.

A decision is on the disk before anyone hears or sees it. When the log cannot be written the run
stops: that is said, and nothing counts any more.

Two paces. A script or a folder of recordings waits for each line to be spoken to its end. Patient
ears (microphone, keyboard, pads) go on listening while the voice speaks: silence is answered, a hold
is counted against the clock, an answer cuts what may be cut, and the emergency stop is always live.

The assistant's own voice must not answer. Nothing here cancels echo, and a cab loudspeaker reaches
the microphone louder than a driver who stands outside; so while the voice speaks, and until it has
rung out, sound counts only as an emergency stop, and what is under way then is forgotten. An echo
could at worst stop the run, which is safe. With a headset there is no such way from loudspeaker to
microphone: then any speech cuts an ordinary prompt at once, and counts; only while a hazard is said
nothing but the stop does. Pads and typed lines have no echo and count at any time. An emergency stop,
however it comes, silences everything, hazards too.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from assistant.ears.base import Ears, KeepsSound, Signal
from assistant.engine.events import Begin, DeviceChange, Event, Microphone, Resumed, Tick, event_of, event_to_data
from assistant.engine.record import decision_to_data
from assistant.engine.state import Decision, Kind, Line, Phase, State
from assistant.errors import LogError
from assistant.journal.anchor import digit_by_digit
from assistant.journal.audio import keep_audio
from assistant.journal.disk_watch import DiskWatch
from assistant.journal.records import Closed, Decided, Device
from assistant.journal.writer import Writer
from assistant.late_ears import NotOpenError
from assistant.phrases.live import Hearing, Live
from assistant.prepare import Prepared
from assistant.talk import LONGEST_SPEECH_S, Said, Talk
from assistant.voice.base import Voice
from assistant.voice.loudness import Change
from assistant.wording import Sentence

TICK_S = 0.5  # how often silence and holds are looked at
SPEAKING_TICK_S = 0.05  # while the voice speaks: what may be heard changes the moment it ends
BARGE_TICK_S = 0.005  # with a headset: speech is looked for with every block that the microphone hands over
SOUNDLESS = frozenset({"typed", "pad"})  # what answers without sound cannot be an echo


@dataclass(frozen=True, slots=True)
class Shown:
    """What a screen gets: the state and what was just heard, decided and said. Read-only.

    ``record`` is the number of the decision's record in the log, which only ever grows.
    """

    prepared: Prepared
    state: State
    hearing: Hearing | None
    event: Event
    decision: Decision
    sentences: tuple[Sentence, ...]
    record: int


Screen = Callable[[Shown], None]


def _nowhere(_: Said) -> None:
    return None


def _unshown(_: str) -> None:
    return None


@dataclass
class Session:
    """A run under way.

    Patient ears (microphone, keyboard, pads) let real time pass in silence; a script or recordings do
    not, so a hold is waited out for them. ``headset`` says that the microphone cannot
    hear the loudspeaker. ``said`` is told what became of spoken lines, ``notice`` gets what is said
    without a decision while the log lags, to be shown.
    """

    prepared: Prepared
    writer: Writer
    ears: Ears
    voice: Voice
    screen: Screen
    keep_sound: Path | None = None
    headset: bool = False
    said: Callable[[Said], None] = _nowhere
    notice: Callable[[str], None] = _unshown
    state: State = field(init=False)
    sleep: Callable[[float], None] = time.sleep

    def __post_init__(self) -> None:
        self.state = self.prepared.engine.initial()
        self._talk = Talk(self.voice, self.writer, self.said)
        self._echo = False  # sound that came so far may hold our own voice
        self._talking = False  # somebody spoke when it was last looked
        self._over_hazard = False  # and began to while a hazard was being said

    # -- the loop -------------------------------------------------------------------------------
    def run(self, resumed: Resumed | None = None) -> bool:
        """Go on to the end; True when the run is over, False when the ears ended first."""
        try:
            with DiskWatch(self.writer, self._log_slow):
                self.take(resumed if resumed is not None else Begin())
                while self.state.phase is not Phase.OVER:
                    if not self.turn():
                        self._hear_out()
                        return False
                self._hear_out()
                outcome = self.state.outcome.value
                claim = self.prepared.plan.claim if outcome == "done" else outcome
                code = self.writer.finish(Closed(outcome=claim))
            # The code stands in the log's last record; nothing may follow that, so neither that it was said.
            self._talk.unlogged(self._sentence("code-end", code=digit_by_digit(code))).wait(LONGEST_SPEECH_S)
        except LogError:
            self._talk.alarm(self._sentence("log-lost"))
            raise
        return True

    def turn(self) -> bool:
        """Wait for one thing to happen and deal with it; False when no more will come."""
        self._talk.settle()
        if self.state.phase is Phase.HOLDING and not self.patient and not self._breaks_in():
            self.sleep(TICK_S)
            self.take(Tick())
            return True
        gated = self._gated()
        # The whole set even while only a stop counts: with fewer words an ear hears "stop" too easily.
        live = self.prepared.live(self.state)
        try:
            got = self.ears.listen(live, self._time_out())
        except NotOpenError as failure:
            self._ears_failed(failure)
            raise
        if isinstance(got, Hearing):
            self._heard(got, live, gated)
        elif got in {Signal.NOTHING, Signal.PASSED}:
            self._passed()
        elif got is Signal.ENDED:
            return False
        else:
            change = DeviceChange.LOST if got is Signal.LOST else DeviceChange.BACK
            self.writer.append(Device(what="microphone", state=change.value))
            self.take(Microphone(change))
        return True

    def _breaks_in(self) -> bool:
        """Whether a script's next line counts while a hold is on: then it is not waited out first."""
        ahead = getattr(self.ears, "ahead", None)
        return ahead is not None and bool(ahead(self.prepared.live(self.state), TICK_S))

    @property
    def patient(self) -> bool:
        """Whether somebody answers who may need time: not a script, nor recordings."""
        return bool(getattr(self.ears, "patient", True))

    def _time_out(self) -> float | None:
        if not self.patient:
            return None
        if not self.voice.speaking:
            return TICK_S
        return BARGE_TICK_S if self.headset else SPEAKING_TICK_S

    def _gated(self) -> bool:
        """Whether of sound only a stop counts now; afterwards the ears begin afresh."""
        speaking = self.voice.speaking
        if self.headset:
            return self._cutting_in(bool(getattr(self.ears, "speaking", False)), speaking)
        if self._echo and not speaking and (fresh := getattr(self.ears, "fresh", None)) is not None:
            fresh()
        self._echo = speaking
        return speaking

    def _cutting_in(self, talking: bool, speaking: bool) -> bool:
        """Let speech stop an ordinary prompt; what begins over a hazard is heard to its end, but only for a stop."""
        firm = speaking and self.voice.firm
        if not talking or (firm and not self._talking):
            self._over_hazard = talking
        self._talking = talking
        if talking and speaking and not firm and not self._over_hazard:
            self.voice.cut()
        return self._over_hazard

    def _heard(self, hearing: Hearing, live: Live, gated: bool) -> None:
        sound = hearing.engine not in SOUNDLESS
        stop = hearing.phrase is not None and hearing.phrase in live.emergency
        if sound and hearing.noise_db is not None and not gated:
            self.voice.follow_noise(hearing.noise_db)
        if sound and gated and not stop:
            return  # our own voice, or speech on top of it: neither a confirmation nor a miss
        if stop:
            self.voice.halt()
        elif self.patient:
            self.voice.cut()  # answered: the rest of what was being said is out of date
        self.take(event_of(hearing), hearing)

    def _passed(self) -> None:
        """Time has passed in silence; a prompt that is still being spoken is no silence, nor are ears not open yet."""
        if getattr(self.ears, "opening", False):
            return
        if self.state.phase is Phase.HOLDING or not self.voice.speaking:
            self.take(Tick())

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
        entry = self.writer.append(Decided(event=event_to_data(event), decision=data), at=now)
        self.state = decision.state
        sentences = self._sentences(decision)
        self.screen(Shown(self.prepared, self.state, hearing, event, decision, sentences, entry.seq))
        self._talk.reply(decision, sentences)
        if not self.patient:
            self._hear_out()
        return decision

    # -- out ------------------------------------------------------------------------------------
    def _sentences(self, decision: Decision) -> tuple[Sentence, ...]:
        """Return what is said of a decision, with what only the session knows: code, clock, caps of the voice."""
        said = self.prepared.wording.sentences(decision.lines)
        if decision.kind is Kind.SETTING and not self.voice.adjust(cast("Change", decision.reason)):
            said = [self._sentence("voice-cap")]
        if decision.kind in {Kind.BEGUN, Kind.RESUMED}:
            # The cautions come first: they are ready before anything else is.
            said.insert(1, self._sentence("code-begin", code=digit_by_digit(self.writer.code)))
        if self.writer.clock_was_set():
            said.insert(0, self._sentence("clock-set"))
        return tuple(said)

    def _hear_out(self) -> None:
        """Wait until all has been said; a pressed stop ends that, and silences it."""
        self._talk.wait(self._urgent)
        if self._urgent():
            self.voice.halt()

    def _urgent(self) -> bool:
        return bool(getattr(self.ears, "urgent", False))

    def _keep(self, hearing: Hearing) -> None:
        if self.keep_sound is None or not hearing.audio_sha256 or not isinstance(self.ears, KeepsSound):
            return
        if (samples := self.ears.last_samples) is not None:
            keep_audio(self.keep_sound, samples)

    def _log_slow(self) -> None:
        """Say and show that the disk keeps the run waiting; called on the watch's thread."""
        sentence = self._sentence("disk-slow")
        self.notice(sentence.text)
        with contextlib.suppress(Exception):  # a voice in trouble must not end the watch
            self._talk.unlogged(sentence)

    def _ears_failed(self, failure: NotOpenError) -> None:
        """Nobody will ever be heard: say so, show it, log it; the run can be resumed."""
        sentence = self._sentence("ears-failed")
        self.notice(f"{sentence.text} {failure}")
        self.writer.append(Device(what="ears", state="failed", detail=str(failure)[:400]))
        self._talk.alarm(sentence)

    def _sentence(self, key: str, **places: str) -> Sentence:
        return self.prepared.wording.sentence(Line("line", key, tuple(places.items())))
