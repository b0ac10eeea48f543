"""The plan of one run: a procedure resolved for one rig, one site and one crew.

Everything the engine needs, as frozen data with facts as positions in a tuple, so that a state is
small, hashable and quick to explore. No names are looked up while a driver waits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from assistant.procedure.model import UNKNOWN

Facts = tuple[str, ...]
"""The value of every fact, in the order of ``Plan.fact_names``."""

Condition = tuple[tuple[int, frozenset[str]], ...]
"""Fact position → values; holds when every fact named has one of its values."""

Changes = tuple[tuple[int, str], ...]
"""Fact position → the value it takes."""

DONE, RESTART, FAIL, HALT = -1, -2, -3, -4
"""Where an answer can lead besides a step's position."""

SPECIAL = {"done": DONE, "restart": RESTART, "fail": FAIL, "halt": HALT}


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """A phrase that counts at a step; ``next`` is a step's position or one of the specials."""

    phrase: str
    sets: Changes
    next: int
    critical: bool


@dataclass(frozen=True, slots=True)
class PlanHold:
    """A hold of ``ms`` milliseconds that begins with a phrase."""

    ms: int
    begin: str


@dataclass(frozen=True, slots=True)
class PlanLimit:
    """A limit; ``low``/``high`` are (bound, whether exactly at it passes)."""

    name: str
    kind: str
    unit: str
    low: tuple[Decimal, bool] | None
    high: tuple[Decimal, bool] | None
    plausible: tuple[Decimal, Decimal]
    source: str

    def passes(self, value: Decimal) -> bool:
        """Whether ``value``, in the limit's own unit, lies within it."""
        if self.low is not None:
            bound, included = self.low
            if value < bound or (value == bound and not included):
                return False
        if self.high is not None:
            bound, included = self.high
            if value > bound or (value == bound and not included):
                return False
        return True


@dataclass(frozen=True, slots=True)
class PlanReading:
    """A reading that is due and what each outcome sets and leads to."""

    limit: PlanLimit
    within: PlanAnswer
    outside: PlanAnswer


@dataclass(frozen=True, slots=True)
class PlanStep:
    """A step, or a look at a fact (then ``look`` is the fact's position)."""

    id: str
    number: int
    aside: bool
    act: str | None
    starts: Changes
    hazard: str | None
    needs: Condition
    who: str
    hold: PlanHold | None
    answers: Mapping[str, PlanAnswer]
    reading: PlanReading | None
    look: int = -1


@dataclass(frozen=True, slots=True)
class PlanRule:
    """A never rule: refused while ``when`` holds, ``unknown`` counting as every value named."""

    id: str
    act: str
    when: Condition
    signal: str
    source: str


@dataclass(frozen=True, slots=True)
class PlanAct:
    """An act, the phrase that announces it, and the rules that may refuse it."""

    id: str
    announce: str
    starts: Changes
    anytime: bool
    rules: tuple[PlanRule, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """One run, resolved.

    ``looks`` maps a fact's position to the way it is looked at again, in the order of looking;
    ``decaying`` are the facts that an interruption makes unknown; ``secure`` the value some of them
    must be brought to before anything else is looked at.
    """

    procedure: str
    rig: str
    site: str
    crew: str
    lang: str
    fact_names: tuple[str, ...]
    fact_values: tuple[tuple[str, ...], ...]
    steps: tuple[PlanStep, ...]
    count: int
    looks: Mapping[int, PlanStep]
    decaying: tuple[int, ...]
    secure: Mapping[int, str]
    acts: Mapping[str, PlanAct]
    by_announcement: Mapping[str, PlanAct]
    done_needs: Condition
    claim: str
    ask_again_ms: int
    long_stand_by_ms: int
    hazard_signal: Mapping[str, str]
    hashes: Mapping[str, str]

    @property
    def blank(self) -> Facts:
        """Nothing seen yet: every fact unknown."""
        return (UNKNOWN,) * len(self.fact_names)

    def facts_dict(self, facts: Facts) -> dict[str, str]:
        """Return the known facts by name."""
        return {n: v for n, v in zip(self.fact_names, facts, strict=True) if v != UNKNOWN}

    def position(self, step_id: str) -> int:
        """Return a step's position by its id; KeyError where there is none."""
        for index, step in enumerate(self.steps):
            if step.id == step_id:
                return index
        raise KeyError(step_id)


def holds(condition: Condition, facts: Facts) -> bool:
    """Whether every fact named has one of the values named. ``unknown`` is none of them."""
    return all(facts[index] in values for index, values in condition)


def forbids(rule: PlanRule, facts: Facts) -> bool:
    """Whether a never rule refuses its act now: ``unknown`` counts as the dangerous value."""
    return all(facts[index] == UNKNOWN or facts[index] in values for index, values in rule.when)


def changed(facts: Facts, changes: Changes) -> Facts:
    """Return the facts after the changes."""
    if not changes:
        return facts
    out = list(facts)
    for index, value in changes:
        out[index] = value
    return tuple(out)
