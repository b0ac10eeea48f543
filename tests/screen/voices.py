"""Voices whose end the test decides."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.voice.base import How, Line, Receipt, Spoken, Tone
from assistant.voice.play import SilentVoice


class FailingVoice(SilentVoice):
    """A loudspeaker that broke: every line fails."""

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Fail each."""
        receipt = Receipt(lines)
        for line in lines:
            receipt.add(Spoken(line, How.FAILED, reason="The loudspeaker takes no more sound."))
        return receipt


class HeldVoice(SilentVoice):
    """Speaks until the test says that a line has ended; hazards are never cut, as in the real one."""

    def __init__(self) -> None:
        super().__init__()
        self.queue: list[tuple[Line, Receipt]] = []
        self.cuts = self.halts = 0
        self.tones: list[Tone] = []

    @property
    def speaking(self) -> bool:  # type: ignore[override]
        """Whether a line is under way."""
        return bool(self.queue)

    @property
    def firm(self) -> bool:  # type: ignore[override]
        """Whether the line under way may not be cut."""
        return bool(self.queue) and not self.queue[0][0].may_be_cut

    def halt(self) -> None:
        """Drop everything."""
        self.halts += 1
        queue, self.queue = self.queue, []
        for line, receipt in queue:
            receipt.add(Spoken(line, How.CUT))

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Queue the lines."""
        receipt = Receipt(lines)
        self.queue += [(line, receipt) for line in lines]
        return receipt

    def tone(self, kind: Tone) -> None:
        """Note the tone."""
        self.tones.append(kind)

    def cut(self) -> None:
        """Drop what may be cut."""
        self.cuts += 1
        kept, self.queue = [one for one in self.queue if not one[0].may_be_cut], [
            one for one in self.queue if one[0].may_be_cut
        ]
        for line, receipt in self.queue:
            receipt.add(Spoken(line, How.CUT))
        self.queue = kept

    def end_one(self) -> None:
        """The first line queued has been spoken."""
        line, receipt = self.queue.pop(0)
        receipt.add(Spoken(line, How.SPOKEN, 1.0))

    def end(self) -> None:
        """Everything queued has been spoken."""
        queue, self.queue = self.queue, []
        for line, receipt in queue:
            receipt.add(Spoken(line, How.SPOKEN, 1.0))
