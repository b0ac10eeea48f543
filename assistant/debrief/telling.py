"""From the ids in a log to words for a trainer: phrases, facts, acts, rules, steps, limits. Pure.

A log holds ids, because words change with the language and with better wording. Where the procedure
files are at hand they have the words; without them an id is written out as plainly as it can be.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from assistant.engine.state import Line
from assistant.errors import HitchcallError
from assistant.prepare import Prepared
from assistant.procedure.plan import PlanRule
from assistant.procedure.sheet import limit_text
from assistant.wording import Sentence

REFUSALS: Final[Mapping[str, str]] = {
    "never": "A never rule forbids it while this is so.",
    "not-this-step": "It belongs to another step of this procedure.",
    "not-now": "Nothing may move during a stop, a stand-by, or while the microphone is lost.",
    "not-live": "Only what is asked now, or an announcement, counts.",
    "wrong-voice": "Only the one who looks can say what is seen.",
    "nothing-to-take-back": "Only the last answer can be taken back.",
}
"""Why something was refused, by the engine's reason code."""

UNSEEN: Final = "not seen"
"""What a trainer reads for a fact that is unknown."""


@dataclass(frozen=True, slots=True)
class Rule:
    """A never rule in words; ``when`` names its facts and the values that forbid."""

    signal: str
    text: str
    source: str
    when: tuple[tuple[str, frozenset[str]], ...] = ()


@dataclass(frozen=True, slots=True)
class StepWords:
    """A step in words; ``number`` is 0 for a look, and for a step that is only come to when something is wrong."""

    id: str
    number: int
    count: int
    say: str
    source: str = ""


def plain(name: str) -> str:
    """Write an id out: "tractor-brake" is "tractor brake"."""
    return " ".join(name.replace("_", "-").split("-"))


class Telling:
    """The words of one run: from its procedure files, or written out from ids where there are none."""

    def __init__(self, prepared: Prepared | None = None) -> None:
        self.prepared = prepared
        self._rules: dict[str, PlanRule] = {}
        self._sources: dict[str, str] = {}
        self._limits: dict[str, str] = {}
        if prepared is not None:
            self._rules = {rule.id: rule for act in prepared.plan.acts.values() for rule in act.rules}
            self._sources = {step.id: step.source for step in prepared.files.procedure.step}
            readings = (step.reading for step in prepared.plan.steps)
            self._limits = {one.limit.name: limit_text(one.limit) for one in readings if one is not None}

    @property
    def title(self) -> str:
        """The procedure's title, "" when its files are not at hand."""
        return self.prepared.files.words.title if self.prepared else ""

    def phrase(self, phrase: str) -> str:
        """What is said for a phrase, as one writes it."""
        if not phrase:
            return ""
        if self.prepared is not None and phrase in self.prepared.book.phrases:
            said = self.prepared.book.phrases[phrase][0]
            return " ".join("I" if word == "i" else word for word in said.split())
        return plain(phrase)

    def act(self, act: str) -> str:
        """An act, as in "not now: raising the legs"."""
        known = self.prepared.files.yard_words.act if self.prepared else {}
        return known.get(act) or plain(act)

    def signal(self, signal: str) -> str:
        """A signal word without its full stop."""
        known = self.prepared.files.yard_words.signal if self.prepared else {}
        return known.get(signal, signal.capitalize()).rstrip(".")

    def rule(self, rule: str) -> Rule | None:
        """A never rule in words; None when it is not known here."""
        found = self._rules.get(rule)
        if found is None or self.prepared is None:
            return None
        plan = self.prepared.plan
        when = tuple((plan.fact_names[fact], frozenset(values)) for fact, values in found.when)
        text = self.prepared.files.yard_words.never[rule].say
        return Rule(self.signal(found.signal), text, found.source, when)

    def limit(self, limit: str) -> str:
        """A limit in words and figures with its source, "" when it is not known here."""
        return self._limits.get(limit, "")

    def unheard(self, why: str) -> str:
        """What the driver was told when something was not understood."""
        known = self.prepared.files.yard_words.unheard if self.prepared else {}
        return known.get(why) or plain(why).capitalize() + "."

    def step(self, step: str, looks: Iterable[object] = ()) -> StepWords | None:
        """The step that is asked, or the look at the first fact of ``looks``; None when none is asked."""
        if not step:
            return None
        if self.prepared is None:
            return StepWords(step, 0, 0, plain(step).capitalize())
        plan = self.prepared.plan
        looked_at = next(iter(looks), None)
        if looked_at is not None and looked_at in plan.fact_names:
            look = plan.looks.get(plan.fact_names.index(str(looked_at)))
            if look is not None:
                return StepWords(look.id, 0, plan.count, self.prepared.files.yard_words.look[look.id].say)
        try:
            found = plan.steps[plan.position(step)]
        except KeyError:
            return StepWords(step, 0, plan.count, plain(step).capitalize())
        say = self.prepared.files.words.step[step].say
        number = 0 if found.aside else found.number
        return StepWords(step, number, plan.count, say, self._sources.get(step, ""))

    def line(self, kind: str, key: str, places: Mapping[str, object]) -> Sentence:
        """One line of a decision as it was to be said; written out from its ids when it has no words here."""
        line = Line(kind, key, tuple((name, str(value)) for name, value in places.items()))
        if self.prepared is not None:
            try:
                return self.prepared.wording.sentence(line)
            except (KeyError, IndexError, HitchcallError):
                pass  # a text of other files than these
        said = "step" if kind in {"step", "step-short", "look", "look-short"} else "info"
        told = {"hazard": "hazard", "never": "refusal"}.get(kind, said)
        return Sentence(told, f"{plain(key).capitalize()}.", key)  # type: ignore[arg-type]

    def value(self, value: str) -> str:
        """A fact's value; unknown is what nobody has seen."""
        return UNSEEN if value == "unknown" else plain(value)
