"""What was believed against what was so, answer by answer, and what became of the faults. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Final

from assistant.engine import commands
from assistant.engine.events import Event
from assistant.engine.moves import current
from assistant.engine.state import Decision, Kind, Outcome, State
from assistant.practice import readings, replies
from assistant.practice.crew import said
from assistant.practice.faults import FAULTS, GIVE_UP, LOOK, READING
from assistant.practice.looks import THING
from assistant.practice.truth import Truth
from assistant.procedure.plan import Plan

COUNTS: Final = frozenset({Kind.ACCEPTED, Kind.ENDED, Kind.FAILED, Kind.RESTARTED})
NEAR: Final = Decimal("0.15")
"""A reading counts as right within this share of what the gauge showed."""


@dataclass(frozen=True, slots=True)
class Belief:
    """One answer that counted: whether it was so, and whether anybody had looked or done it first."""

    step: str
    said: str
    critical: bool
    so: bool
    looked: bool

    @property
    def verdict(self) -> str:
        """The word of the score: right, wrong, or not looked (right by luck)."""
        if not self.so:
            return "wrong"
        return "right" if self.looked else "not looked"


@dataclass
class Score:
    """Kept beside a guided run in the yard; told of looks, work and decisions as they come."""

    plan: Plan
    faults: tuple[str, ...]
    beliefs: list[Belief] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    found: set[str] = field(default_factory=set)
    looked: set[str] = field(default_factory=set)
    worked: bool = False
    _seen_faulty: set[str] = field(default_factory=set)

    def look(self, thing: str) -> None:
        """Somebody looked at a thing."""
        self.looked.add(thing)
        for name in self.faults:
            fault = FAULTS[name]
            if thing in fault.looks:
                self._seen_faulty.add(name)
                self.found |= {name} if LOOK in fault.says else set()

    def work(self) -> None:
        """What the step asks was done."""
        self.worked = True

    def told(self, before: State, event: Event, decision: Decision, truth: Truth) -> None:
        """Learn a decision; ``truth`` is the rig as it was when the answer was given."""
        if decision.kind is Kind.REFUSED and decision.rule:
            self.refused.append(decision.rule)
        if decision.kind not in COUNTS:
            return
        pending = before.pending
        if pending is not None and pending.value is not None and pending.unit is not None:
            self._reading(before, pending.value, pending.unit, decision, truth)
        else:
            self._answer(before, said(before, event), truth)
        if decision.state.outcome is Outcome.GIVEN_UP or said(before, event) == commands.GIVE_UP:
            self.found |= {name for name in self._seen_faulty if GIVE_UP in FAULTS[name].says}
        self.looked, self.worked = set(), False

    def _answer(self, before: State, phrase: str, truth: Truth) -> None:
        step = current(self.plan, before)
        if phrase not in step.answers:
            return
        so = replies.true(truth, phrase)
        looked = THING[phrase] in self.looked if phrase in THING else self.worked
        self.beliefs.append(Belief(step.id, phrase, step.answers[phrase].critical, so, looked))
        if so:
            self.found |= {name for name in self.faults if phrase in FAULTS[name].says}

    def _reading(self, before: State, value: Decimal, unit: str, decision: Decision, truth: Truth) -> None:
        step = current(self.plan, before)
        if step.reading is None:
            return
        limit = step.reading.limit.name
        true = readings.in_unit(readings.take(truth, limit)[0], limit, unit)
        so = abs(value - true) <= max(abs(true) * NEAR, Decimal("0.05"))
        self.beliefs.append(Belief(step.id, f"{value} {unit}", critical=True, so=so, looked="reading" in self.looked))
        if so and any(line.key == "outside" for line in decision.lines):
            self.found |= {name for name in self.faults if READING in FAULTS[name].says}

    def report(self, truth: Truth) -> dict[str, object]:
        """Return the score as JSON: every answer with its verdict, faults, refusals, what was broken."""
        return {
            "answers": [[one.step, one.said, one.verdict, one.critical] for one in self.beliefs],
            "critical": _counts(one for one in self.beliefs if one.critical),
            "all": _counts(self.beliefs),
            "faults_found": sorted(self.found & set(self.faults)),
            "faults_missed": sorted(set(self.faults) - self.found),
            "refusals": self.refused,
            "broken": [harm.kind for harm in truth.harms],
        }


def _counts(beliefs: Iterable[Belief]) -> dict[str, int]:
    out = {"right": 0, "wrong": 0, "not looked": 0}
    for one in beliefs:
        out[one.verdict] += 1
    return out
