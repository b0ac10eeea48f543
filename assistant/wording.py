"""From the engine's lines to the sentences that are spoken and shown, in one language. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from assistant.engine.state import Line
from assistant.phrases.book import PhraseBook
from assistant.procedure.load import Files
from assistant.procedure.plan import Plan, PlanAnswer
from assistant.procedure.words import places_of

LineKind = Literal["hazard", "step", "read-back", "refusal", "info", "count", "caution"]

_KINDS: Final[Mapping[str, LineKind]] = {
    "caution": "caution",
    "read-back": "read-back",
    "read-back-number": "read-back",
    "read-back-ask": "read-back",
    "command-ask": "read-back",
    "refused-order": "refusal",
    "refused-phase": "refusal",
    "not-live": "refusal",
    "wrong-voice": "refusal",
    "hold-begin": "count",
    "hold-count": "count",
    "hold-end": "count",
    # Never cut off by the driver's own speech: they say that nothing may move.
    "stopped": "hazard",
    "fail": "hazard",
    "halt": "hazard",
    "mic-lost": "hazard",
    "log-lost": "hazard",
}


@dataclass(frozen=True, slots=True)
class Sentence:
    """One thing to say and show: its kind, its text for the eye, a short name for files and logs."""

    kind: LineKind
    text: str
    name: str


class Wording:
    """The texts of one run in one language."""

    def __init__(self, files: Files, plan: Plan, book: PhraseBook) -> None:
        self._yard = files.yard_words
        self._words = files.words
        self._plan = plan
        self._book = book
        self._fixed = {"title": files.words.title, "rig": files.rig_title, "site": files.site_title}
        self._never_signal = {rule.id: rule.signal for act in plan.acts.values() for rule in act.rules}

    def sentences(self, lines: tuple[Line, ...]) -> list[Sentence]:
        """Return the sentences of a decision, in order."""
        return [self.sentence(line) for line in lines]

    def sentence(self, line: Line) -> Sentence:
        """Return one line as a sentence."""
        kind, key = line.kind, line.key
        match kind:
            case "hazard":
                text = f"{self._signal(self._plan.hazard_signal[key])} {self._yard.hazard[key].say}"
                return Sentence("hazard", text, f"hazard-{key}")
            case "never":
                text = f"{self._signal(self._never_signal[key])} {self._yard.never[key].say}"
                return Sentence("refusal", text, f"never-{key}")
            case "step" | "step-short":
                said = self._words.step[key]
                return Sentence("step", said.say if kind == "step" else said.brief, f"step-{key}")
            case "look" | "look-short":
                look = self._yard.look[key]
                return Sentence("step", look.say if kind == "look" else look.brief, f"look-{key}")
            case "unheard":
                return Sentence("info", self._yard.unheard[key], f"unheard-{key}")
            case _:
                return self._line(line)

    def _line(self, line: Line) -> Sentence:
        text = self._yard.line[line.key]
        if line.key == "done":
            return Sentence("info", self._words.done, "done")
        if "{" in text:
            text = text.format(**{name: self._place(name, value) for name, value in line.places})
        return Sentence(_KINDS.get(line.key, "info"), text[:1].upper() + text[1:], line.key)

    def _place(self, name: str, value: str) -> str:
        if name in self._fixed:
            return self._fixed[name]
        if name == "phrase":
            return self.says(value) if value else ""
        if name == "phrases":
            return "; ".join(self.says(one) for one in value.split(",") if one)
        if name == "act":
            return self._yard.act[value]
        if name == "who":
            return self._yard.who[value]
        return value

    def says(self, phrase: str) -> str:
        """Return the first way to say a phrase."""
        return self._book.says(phrase)[0]

    def _signal(self, signal: str) -> str:
        return self._yard.signal[signal]

    def fixed(self) -> Iterator[str]:
        """Yield every text of the run that can be synthesised ahead, in the order in which they may be needed.

        What holds a number, or is refused or not live, is made on the spot.
        """
        yield from (self.sentence(line).text for line in self._fixed_lines())

    def _fixed_lines(self) -> Iterator[Line]:
        for key, text in self._yard.line.items():
            places = places_of(text)
            if places <= self._fixed.keys():
                yield Line("line", key, tuple((place, "") for place in places))
        for step in self._plan.steps:
            if step.hazard:
                yield Line("hazard", step.hazard)
            yield Line("step", step.id)
            yield Line("step-short", step.id)
            yield from (_replied(answer) for answer in step.answers.values())
            if step.hold is not None:
                yield Line("line", "hold-ask", (("phrase", step.hold.begin), ("seconds", str(step.hold.ms // 1000))))
                yield Line("line", "hold-begin", (("seconds", str(step.hold.ms // 1000)),))
        for look in self._plan.looks.values():
            yield Line("look", look.id)
            yield from (_replied(answer) for answer in look.answers.values())
        yield from (Line("never", rule) for rule in self._never_signal)
        yield from (Line("unheard", why) for why in self._yard.unheard)


def _replied(answer: PlanAnswer) -> Line:
    """What is said first when an answer was understood."""
    return Line("line", "read-back" if answer.critical else "heard", (("phrase", answer.phrase),))
