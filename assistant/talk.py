"""What a session says: lines handed to the voice, and what became of each in the log.

A line that was handed over is not yet said. Its end comes later, from the voice's own thread, and is
written to the log in the order in which lines were handed over.
"""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from assistant.engine.state import Decision, Kind
from assistant.journal.records import Spoke
from assistant.journal.writer import Writer
from assistant.voice.base import How, Receipt, Tone, Voice
from assistant.voice.base import Line as VoiceLine
from assistant.voice.base import Spoken as SpokenLine
from assistant.wording import Sentence

LONGEST_SPEECH_S = 120.0  # a voice that has not ended by then hangs; the run goes on by the screen
LOOK_S = 0.05  # how often it is looked for a pressed stop while lines are waited for

TONES = {
    Kind.ACCEPTED: Tone.HEARD,
    Kind.REFUSED: Tone.REFUSED,
    Kind.STOPPED: Tone.STOP,
    Kind.FAILED: Tone.STOP,
}


@dataclass(frozen=True, slots=True)
class Said:
    """What became of the lines of one decision: its record in the log, and each line's end."""

    record: int
    complete: bool
    lines: tuple[SpokenLine, ...]


@dataclass
class _Saying:
    """Lines handed to the voice whose end is not in the log yet."""

    receipt: Receipt
    sentences: tuple[Sentence, ...]
    began: int


class Talk:
    """The speaking side of one session; ``told`` learns what became of lines once that is in the log."""

    def __init__(self, voice: Voice, writer: Writer, told: Callable[[Said], None]) -> None:
        self._voice = voice
        self._writer = writer
        self._told = told
        self._saying: deque[_Saying] = deque()

    def reply(self, decision: Decision, sentences: tuple[Sentence, ...]) -> None:
        """Answer a decision that is in the log: its tone at once, then its lines."""
        tone = TONES.get(decision.kind)
        if decision.kind is Kind.ASKED_AGAIN and decision.reason != "silence":
            tone = Tone.NOT_UNDERSTOOD
        if tone is not None:
            self._voice.tone(tone)
        if sentences:
            receipt = self._hand_over(sentences)
            self._saying.append(_Saying(receipt, sentences, self._writer.now()))

    def settle(self) -> None:
        """Log the lines that have ended, in their order."""
        while self._saying and (self._saying[0].receipt.done or self._hangs(self._saying[0])):
            self._log(self._saying.popleft())

    def wait(self, urgent: Callable[[], bool]) -> None:
        """Wait until every line has ended and is in the log; stop waiting when ``urgent``."""
        self.settle()
        while self._saying and not urgent():
            self._saying[0].receipt.wait(LOOK_S)
            self.settle()

    def unlogged(self, sentence: Sentence) -> Receipt:
        """Say what the log cannot hold: that it is lost or slow, or its own last code."""
        return self._hand_over((sentence,))

    def alarm(self, sentence: Sentence) -> None:
        """Sound the stop tone and say why; a voice in trouble must not hide the reason."""
        with contextlib.suppress(Exception):
            self._voice.tone(Tone.STOP)
            self.unlogged(sentence).wait(LONGEST_SPEECH_S)

    def _hand_over(self, sentences: tuple[Sentence, ...]) -> Receipt:
        return self._voice.say([VoiceLine(one.kind, one.text, one.name) for one in sentences])

    def _hangs(self, saying: _Saying) -> bool:
        return self._writer.now() - saying.began > LONGEST_SPEECH_S * 1000

    def _log(self, saying: _Saying) -> None:
        # By line, not by order: after a cut the dropped lines end before a hazard that is played out.
        ended = {id(one.line): one for one in saying.receipt.spoken}
        hows = [ended[id(line)].how.value if id(line) in ended else "hangs" for line in saying.receipt.lines]
        complete = set(hows) <= {How.SPOKEN.value, How.SILENT.value}
        lines = tuple(
            {"kind": one.kind, "text": one.text, "how": how} for one, how in zip(saying.sentences, hows, strict=True)
        )
        took = self._writer.now() - saying.began
        entry = self._writer.append(Spoke(lines=lines, complete=complete, took_ms=took))
        self._told(Said(entry.seq, complete, tuple(ended.values())))
