"""Every state of the page, each from a decision of the real engine, and what is pressed to come to it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from drive import Drive

from assistant.engine.events import DeviceChange, Heard, Measured, Microphone, NotHeard, Tick
from assistant.engine.guide import reply
from assistant.engine.state import Kind, Line, Phase
from assistant.phrases.live import Hearing, Unheard
from assistant.prepare import Prepared
from assistant.session import Shown

LISTENING = {"ears": "listening", "level": -38.2, "noise": -52.0}


@dataclass(frozen=True)
class Scene:
    """One state: what the board is shown, what the ears do meanwhile, the labels of pads pressed in the page."""

    name: str
    mode: str
    shown: Shown
    status: Mapping[str, object] = field(default_factory=lambda: dict(LISTENING))
    presses: tuple[str, ...] = ()


class Stage:
    """Drives a run and takes scenes from it; each gets a record number of its own."""

    def __init__(self, prepared: Prepared) -> None:
        self.prepared = prepared
        self.drive = Drive(prepared)
        self.record = 0

    def take(self, name: str, mode: str, heard: Hearing | None = None, **more: Any) -> Scene:
        """Make a scene of the last decision."""
        self.record += 10
        decision = self.drive.last
        lines = list(decision.lines)
        if decision.kind is Kind.BEGUN:
            lines.insert(1, Line("line", "code-begin", (("code", "1 2 3 4, 5 6 7 8, 9 0 1 2, 3 4"),)))
        sentences = tuple(self.prepared.wording.sentences(tuple(lines)))
        event = Heard(heard.phrase) if heard is not None and heard.phrase else Tick()
        if heard is not None and heard.reading is not None:
            event = Measured(heard.reading.value, heard.reading.unit)
        shown = Shown(self.prepared, self.drive.state, heard, event, decision, sentences, self.record)
        return Scene(name, mode, shown, **more)

    def said(self, phrase: str) -> Hearing:
        """Say a phrase, and return it as a hearing."""
        self.drive.say(phrase)
        return Hearing("two ears", phrase, phrase=phrase)


def scenes(prepared: Prepared, labels: Mapping[str, str]) -> Iterator[Scene]:
    """Yield the states in an order in which a run can come through them."""
    stage = Stage(prepared)
    drive, press = stage.drive, labels["parked"]
    yield stage.take("the cautions", "caution", status={"ears": "opening"})
    yield stage.take("the first question", "ask", presses=(press,))
    yield stage.take("a question with its hazard", "ask", stage.said("tractor-clear"))
    drive.put(NotHeard(Unheard.TOO_LOUD))
    yield stage.take("not understood", "ask", Hearing("two ears", "", unheard=Unheard.TOO_LOUD))
    yield stage.take("help", "ask", stage.said("what-may-i-say"))
    yield stage.take("an act refused", "notice", stage.said("pulling-away"))
    yield stage.take("stand by", "ask", stage.said("stand-by"))
    stage.said("go-ahead")
    yield stage.take("emergency stop", "stopped", stage.said("emergency-stop"))
    clear = prepared.wording.says("everyone-clear")
    yield stage.take("leaving the stop", "stopped", presses=(clear[:1].upper() + clear[1:],))
    stage.said("everyone-clear")
    yield stage.take("looking again", "ask", Hearing("pad", phrase="everyone-clear"))
    drive.to("lock-open-air")
    yield stage.take("a hold to begin", "ask")
    stage.said("holding-now")
    drive.put(Tick(), 2000)
    yield stage.take("a hold being counted", "ask")
    drive.to("pressure")
    yield stage.take("a reading due", "keypad")
    yield stage.take("a reading entered", "keypad", presses=("1", "2", "0"))
    drive.put(reply(prepared.plan, drive.state).event)
    yield stage.take("a reading read back", "confirm")
    drive.to("see-jaw")
    yield stage.take("the longest question", "ask", Hearing("pad", phrase="no-gap"))
    yield stage.take("a critical answer read back", "confirm", stage.said("jaw-closed"))
    stage.said("correction")
    yield stage.take("the coupling failed", "notice", stage.said("jaw-open"))
    drive.put(Microphone(DeviceChange.LOST))
    yield stage.take("the microphone lost", "deaf", status={"ears": "mic-lost", "level": None, "noise": None})
    drive.put(Microphone(DeviceChange.BACK))
    drive.to("see-pin")
    yield stage.take("more pads", "more", presses=(labels["more"],))
    yield stage.take("from afar", "far", presses=(labels["more"], labels["far"]))
    yield stage.take("pad size", "more", presses=(labels["pads-back"], labels["more"], labels["size"]))
    finish = Stage(prepared)
    finish.record = stage.record
    while finish.drive.state.phase is not Phase.OVER:
        told = reply(prepared.plan, finish.drive.state)
        finish.drive.put(told.event, 1000 + told.wait_ms)
    yield finish.take("done", "over")
    ending = Stage(prepared)
    ending.record = finish.record
    ending.drive.say("give-up")
    ending.drive.say("read-back-right")
    yield ending.take("given up", "over")
