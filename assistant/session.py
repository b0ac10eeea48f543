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
microphone: then any speech cuts an ordinary prompt at once, and counts. Pads and typed lines have no
echo and count at any time.
"""

from __future__ import annotations

import contextlib
import time
from collections import deque
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
from assistant.journal.records import Closed, Decided, Device, Spoke
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Live
from assistant.prepare import Prepared
from assistant.voice.base import How, Receipt, Tone, Voice
from assistant.voice.base import Line as VoiceLine
from assistant.voice.base import Spoken as SpokenLine
from assistant.voice.loudness import Change
from assistant.wording import Sentence

TICK_S = 0.5  # how often silence and holds are looked at
SPEAKING_TICK_S = 0.05  # while the voice speaks: what may be heard changes the moment it ends
LONGEST_SPEECH_S = 120.0  # a voice that has not ended by then hangs; the run goes on by the screen
SOUNDLESS = frozenset({"typed", "pad"})  # what answers without sound cannot be an echo

TONES = {
    Kind.ACCEPTED: Tone.HEARD,
    Kind.REFUSED: Tone.REFUSED,
    Kind.STOPPED: Tone.STOP,
    Kind.FAILED: Tone.STOP,
}


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


@dataclass(frozen=True, slots=True)
class Said:
    """What became of the lines of one decision: its record in the log, and each line's end."""

    record: int
    complete: bool
    lines: tuple[SpokenLine, ...]


Screen = Callable[[Shown], None]


def _nowhere(_: Said) -> None:
    return None


def _unshown(_: str) -> None:
    return None


@dataclass
class _Saying:
    """Lines handed to the voice whose end is not in the log yet."""

    receipt: Receipt
    sentences: tuple[Sentence, ...]
    began: int


@dataclass
class Session:
    """A run under way.

    ``patient`` ears (microphone, keyboard, pads) let real time pass in silence; a script or
    recordings do not, so a hold is waited out for them. ``headset`` says that the microphone cannot
    hear the loudspeaker. ``said`` is told what became of spoken lines, ``notice`` gets what is said
    without a decision while the log lags, to be shown.
    """

    prepared: Prepared
    writer: Writer
    ears: Ears
    voice: Voice
    screen: Screen
    patient: bool = True
    keep_sound: Path | None = None
    headset: bool = False
    said: Callable[[Said], None] = _nowhere
    notice: Callable[[str], None] = _unshown
    state: State = field(init=False)
    sleep: Callable[[float], None] = time.sleep

    def __post_init__(self) -> None:
        self.state = self.prepared.engine.initial()
        self._saying: deque[_Saying] = deque()
        self._echo = False  # sound that came so far may hold our own voice

    # -- the loop -------------------------------------------------------------------------------
    def run(self, resumed: Resumed | None = None) -> bool:
        """Go on to the end; True when the run is over, False when the ears ended first."""
        try:
            with DiskWatch(self.writer, self._log_slow):
                self._speak((self._sentence("code-begin", code=digit_by_digit(self.writer.code)),))
                self.take(resumed if resumed is not None else Begin())
                while self.state.phase is not Phase.OVER:
                    if not self.turn():
                        self._settle(wait=True)
                        return False
                self._settle(wait=True)
                outcome = self.state.outcome.value
                claim = self.prepared.plan.claim if outcome == "done" else outcome
                code = self.writer.finish(Closed(outcome=claim))
            # The code stands in the log's last record; nothing may follow that, so neither that it was said.
            self._say_unlogged(self._sentence("code-end", code=digit_by_digit(code)))
        except LogError:
            self._log_lost()
            raise
        return True

    def turn(self) -> bool:
        """Wait for one thing to happen and deal with it; False when no more will come."""
        self._settle()
        if self.state.phase is Phase.HOLDING and not self.patient:
            self.sleep(TICK_S)
            self.take(Tick())
            return True
        gated = self._gated()
        # The whole set even while only a stop counts: with fewer words an ear hears "stop" too easily.
        live = self.prepared.live(self.state)
        got = self.ears.listen(live, self._time_out())
        if isinstance(got, Hearing):
            self._heard(got, live, gated)
        elif got is Signal.NOTHING:
            self._passed()
        elif got is Signal.ENDED:
            return False
        else:
            change = DeviceChange.LOST if got is Signal.LOST else DeviceChange.BACK
            self.writer.append(Device(what="microphone", state=change.value))
            self.take(Microphone(change))
        return True

    def _time_out(self) -> float | None:
        if not self.patient:
            return None
        return SPEAKING_TICK_S if self.voice.speaking else TICK_S

    def _gated(self) -> bool:
        """Whether sound may be our own voice now; when that has just ended, the ears begin afresh."""
        speaking = self.voice.speaking
        if self.headset:
            if speaking and getattr(self.ears, "speaking", False):
                self.voice.cut()  # the driver cuts in
            return False
        if self._echo and not speaking and (fresh := getattr(self.ears, "fresh", None)) is not None:
            fresh()
        self._echo = speaking
        return speaking

    def _heard(self, hearing: Hearing, live: Live, gated: bool) -> None:
        sound = hearing.engine not in SOUNDLESS
        if sound and hearing.noise_db is not None and not gated:
            self.voice.follow_noise(hearing.noise_db)
        if sound and gated and hearing.phrase not in live.emergency:
            return  # our own voice, or speech on top of it: neither a confirmation nor a miss
        if self.patient:
            self.voice.cut()  # answered: the rest of what was being said is out of date
        self.take(event_of(hearing), hearing)

    def _passed(self) -> None:
        """Time has passed in silence; a prompt that is still being spoken is no silence."""
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
        clock_set = [Line("line", "clock-set")] if self.writer.clock_was_set() else []
        sentences = tuple(self.prepared.wording.sentences((*clock_set, *decision.lines)))
        self.screen(Shown(self.prepared, self.state, hearing, event, decision, sentences, entry.seq))
        self._say(decision, sentences)
        return decision

    # -- out ------------------------------------------------------------------------------------
    def _say(self, decision: Decision, sentences: tuple[Sentence, ...]) -> None:
        if decision.kind is Kind.SETTING:
            self.voice.adjust(cast("Change", decision.reason))
        tone = TONES.get(decision.kind)
        if decision.kind is Kind.ASKED_AGAIN and decision.reason != "silence":
            tone = Tone.NOT_UNDERSTOOD
        if tone is not None:
            self.voice.tone(tone)
        if sentences:
            self._speak(sentences)

    def _speak(self, sentences: tuple[Sentence, ...]) -> None:
        began = self.writer.now()
        receipt = self.voice.say([VoiceLine(one.kind, one.text, one.name) for one in sentences])
        self._saying.append(_Saying(receipt, sentences, began))
        self._settle(wait=not self.patient)

    def _settle(self, *, wait: bool = False) -> None:
        """Log the lines that have ended, in their order; ``wait`` for all, unless a stop is pressed."""
        while self._saying:
            saying = self._saying[0]
            hangs = self.writer.now() - saying.began > LONGEST_SPEECH_S * 1000
            if wait and not hangs and not saying.receipt.done:
                if getattr(self.ears, "urgent", False):
                    self.voice.cut()
                    wait = False
                saying.receipt.wait(SPEAKING_TICK_S)
                continue
            if not saying.receipt.done and not hangs:
                return
            self._saying.popleft()
            self._log_said(saying)

    def _log_said(self, saying: _Saying) -> None:
        # By line, not by order: after a cut the dropped lines end before a hazard that is played out.
        ended = {id(one.line): one for one in saying.receipt.spoken}
        hows = [ended[id(line)].how.value if id(line) in ended else "hangs" for line in saying.receipt.lines]
        complete = set(hows) <= {How.SPOKEN.value, How.SILENT.value}
        lines = tuple(
            {"kind": one.kind, "text": one.text, "how": how} for one, how in zip(saying.sentences, hows, strict=True)
        )
        took = self.writer.now() - saying.began
        entry = self.writer.append(Spoke(lines=lines, complete=complete, took_ms=took))
        self.said(Said(entry.seq, complete, tuple(ended.values())))

    def _keep(self, hearing: Hearing) -> None:
        if self.keep_sound is None or not hearing.audio_sha256 or not isinstance(self.ears, KeepsSound):
            return
        if (samples := self.ears.last_samples) is not None:
            keep_audio(self.keep_sound, samples)

    def _log_lost(self) -> None:
        with contextlib.suppress(Exception):  # the voice must not hide why the run stopped
            self.voice.tone(Tone.STOP)
            self._say_unlogged(self._sentence("log-lost"))

    def _log_slow(self) -> None:
        """Say and show that the disk keeps the run waiting; called on the watch's thread."""
        sentence = self._sentence("disk-slow")
        self.notice(sentence.text)
        with contextlib.suppress(Exception):  # a voice in trouble must not end the watch
            self.voice.say([VoiceLine(sentence.kind, sentence.text, sentence.name)])

    def _say_unlogged(self, sentence: Sentence) -> None:
        self.voice.say([VoiceLine(sentence.kind, sentence.text, sentence.name)]).wait(LONGEST_SPEECH_S)

    def _sentence(self, key: str, **places: str) -> Sentence:
        return self.prepared.wording.sentence(Line("line", key, tuple(places.items())))

