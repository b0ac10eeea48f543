"""What must hold on every edge of the exploration, judged from the files and not from the engine.

The never rules, needs and claims are read here by name, from the files as they were written; the
engine reads positions in a plan. A fault in either shows as a disagreement.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from assistant.engine import commands
from assistant.engine.events import Event, Heard, Resumed
from assistant.engine.moves import current
from assistant.engine.state import Decision, Kind, Outcome, Phase, State
from assistant.errors import Fault
from assistant.procedure.load import Files
from assistant.procedure.model import UNKNOWN, OneOf
from assistant.procedure.plan import Facts, Plan, PlanStep
from assistant.proof.explore import accepted, explore
from assistant.proof.moves import Move
from assistant.proof.space import Space
from assistant.proof.spoken import replay_command
from assistant.proof.views import BUSY

STAYING: Final = frozenset({Kind.REFUSED, Kind.ALLOWED, Kind.REPEATED, Kind.SETTING, Kind.NOTHING, Kind.ASKED_AGAIN})
CLEARING: Final = frozenset({Kind.BEGUN, Kind.FAILED, Kind.RESTARTED})
BREAKING: Final = frozenset({Kind.RESUMED, Kind.HEARING_BACK, Kind.WENT_ON})
NO_WAY_OUT: Final = frozenset({"given-up", "asked-for", "look-differs"})


At = tuple[int, tuple[Move, ...]]
"""Where a fault was met: a node, and the moves made from there."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A fault, and the shortest way to it: moves from the start of a run.

    ``replay`` is the command whose run takes that way, where a way there is.
    """

    fault: Fault
    moves: tuple[Move, ...] = ()
    replay: str = ""


@dataclass(slots=True)
class Used:
    """What a proof saw being used; names, so that those of several runs can be joined."""

    steps: set[str] = field(default_factory=set)
    answers: set[tuple[str, str]] = field(default_factory=set)
    rules: set[str] = field(default_factory=set)
    alone: set[str] = field(default_factory=set)

    def add(self, other: Used) -> None:
        """Join what another run used."""
        self.steps |= other.steps
        self.answers |= other.answers
        self.rules |= other.rules
        self.alone |= other.alone


@dataclass(slots=True)
class Proof:
    """What exploring one plan came to."""

    space: Space
    findings: list[Finding]
    used: Used


def forbidding(files: Files, act: str, facts: Mapping[str, str]) -> list[str]:
    """Return the ids of the never rules that forbid ``act``; a fact not named counts as unknown."""
    return [
        rule.id
        for rule in files.yard.never
        if rule.act == act and all(facts.get(name, UNKNOWN) in (UNKNOWN, *values) for name, values in rule.when.items())
    ]


def unmet(needs: OneOf, facts: Mapping[str, str]) -> list[str]:
    """Return the facts of ``needs`` that do not have one of their values."""
    return [name for name, values in needs.items() if facts.get(name, UNKNOWN) not in values]


def stopped(state: State) -> bool:
    """Whether an emergency stop holds."""
    return Phase.STOPPED in {state.phase, state.pending.origin if state.pending else state.phase}


def left_stop(state: State, event: Event) -> bool:
    """Whether ``event`` may end an emergency stop: everyone seen clear, or a command confirmed."""
    if not isinstance(event, Heard):
        return False
    return event.phrase == (commands.CLEAR if state.phase is Phase.STOPPED else commands.RIGHT)


class Checker:
    """Watches an exploration and keeps the first, which is the shortest, way to each fault."""

    def __init__(self, files: Files, plan: Plan) -> None:
        self.files, self.plan = files, plan
        self.file = str(files.paths.get(f"{plan.procedure}/procedure.toml", plan.procedure))
        self.yard_file = str(files.paths.get("yard.toml", "yard.toml"))
        self.needs = {step.id: step.needs for step in files.procedure.step}
        self.acts: dict[str, str | None] = {step.id: step.act for step in files.procedure.step}
        self.decays = {name for name, fact in files.yard.facts.items() if fact.decays}
        self.claim = sum(1 << plan.fact_names.index(name) for name in files.procedure.done.needs)
        self.used = Used()
        self.space: Space = Space(plan)
        self.found: dict[Fault, At] = {}
        self.ways: dict[int, set[int]] = {}
        self.ends: set[int] = set()

    # -- telling faults -------------------------------------------------------------------------
    def fault(self, what: str, where: PlanStep | None, name: str, at: At) -> None:
        """Note a fault the first time it is met; ``at`` is a node and the moves made from there."""
        file = self.yard_file if where is not None and where.look >= 0 else self.file
        self.found.setdefault(Fault(file, what, where.id if where else "", name), at)

    def fault_if(self, wrong: bool, what: str, where: PlanStep | None, name: str, at: At) -> None:
        """Note a fault where something is ``wrong``."""
        if wrong:
            self.fault(what, where, name, at)

    def names(self, facts: Facts) -> dict[str, str]:
        """Return all facts by name."""
        return dict(zip(self.plan.fact_names, facts, strict=True))

    # -- what is watched ------------------------------------------------------------------------
    def edge(self, before: int, move: Move, decision: Decision, after: int) -> None:
        """Judge one decision."""
        state, new = self.space.nodes[before].state, decision.state
        at = (before, (move,))
        step = current(self.plan, state)
        if decision.kind in STAYING:
            given = accepted(self.plan, state, move.event)
            first = given is not None and decision.reason == "secure-first"
            if given is not None and first:
                self.used.answers.add((step.id, given.phrase))
            back = first and (new.phase, new.stale, new.look) == (Phase.LOOKING, state.stale, state.look)
            self.fault_if(
                before != after and not back, f"moved although the decision was {decision.kind}", step, "", at
            )
            return
        if decision.reason not in NO_WAY_OUT and before != after:
            self.ways.setdefault(after, set()).add(before)
        given = accepted(self.plan, state, move.event) if decision.kind is not Kind.READ_BACK else None
        if given is not None and state.phase is not Phase.HOLDING and decision.kind not in BREAKING:
            self.answered(state, move.event, decision, at)
        if decision.reason in {"act-forbidden", "needs-unmet"}:
            self.lost(state, move, decision, at)
        self.broke_in(state, move, decision, at)
        if new.phase is Phase.OVER:
            self.ended(new, self.space.nodes[before].seen, after, move, at)
        elif new.phase is Phase.ASKING:
            self.asked(new, at)

    def broke_in(self, state: State, move: Move, decision: Decision, at: At) -> None:
        """Judge what interruptions, stops and failures leave behind."""
        new, step = decision.state, current(self.plan, state)
        left = any(value != UNKNOWN for value in new.facts) or bool(new.undo or new.stale or new.step)
        clears = decision.kind in CLEARING
        self.fault_if(clears and left, "starts again with something still believed", step, "", at)
        other = isinstance(move.event, Resumed) and move.event.changed and state.phase is not Phase.OVER
        self.fault_if(other and left, "still believes something after its files have changed", step, "", at)
        freed = stopped(state) and not stopped(new) and not left_stop(state, move.event)
        what = "leaves the emergency stop although nobody has said that everyone is clear"
        self.fault_if(freed, what, step, "", at)
        if decision.kind in BREAKING:
            self.went_stale(new, step, at)

    def answered(self, state: State, event: Event, decision: Decision, at: At) -> None:
        """An answer counted: note it, and see that it was confirmed where it must be."""
        step = current(self.plan, state)
        given = accepted(self.plan, state, event)
        if given is None:
            return
        self.used.answers.add((step.id, given.phrase))
        if given.critical and state.phase is not Phase.CONFIRMING:
            self.fault(f"takes the critical answer {given.phrase!r} unconfirmed", step, "answer", at)
        if isinstance(event, Heard) and event.who != step.who and decision.kind is not Kind.REFUSED:
            self.fault(f"takes an answer from the {event.who}; it must come from the {step.who}", step, "who", at)

    def lost(self, state: State, move: Move, decision: Decision, at: At) -> None:
        """The engine fell back to the start because a step could not be asked."""
        step = current(self.plan, state)
        if step.look >= 0 and not decision.rule and decision.reason == "act-forbidden":
            return  # a look that is itself forbidden loses the place: safe, and the author's to avoid
        given = accepted(self.plan, state, move.event)
        target = state.step if step.look >= 0 or given is None else given.next
        wanted = self.plan.steps[target] if target >= 0 else None
        if decision.reason == "act-forbidden":
            asks = wanted.act if wanted else "an act"
            what = f"asks for {asks} while the never rule {decision.rule} forbids it (from step {step.id})"
            self.fault(what, wanted, "act", at)
            return
        if wanted is None:
            what = f"leads to done while {self.plan.claim} has not been seen whole"
            self.fault(what, step, "next", at)
            return
        self.fault(f"is come to from step {step.id} with its needs unmet", wanted, "needs", at)

    def went_stale(self, new: State, step: PlanStep, at: At) -> None:
        """After an interruption, what decays is not believed."""
        short = at[1][-1].after < self.plan.long_stand_by_ms and self.space.nodes[at[0]].state.phase is Phase.WAITING
        if new.phase in {Phase.OVER, Phase.STOPPED} or (short and not new.stale):
            return
        believed = self.names(new.facts)
        for name in sorted(self.decays):
            if believed[name] != UNKNOWN:
                self.fault(f"still believes {name} after an interruption", step, "decays", at)

    def ended(self, new: State, seen: int, after: int, move: Move, at: At) -> None:
        """A run ended: what it claims was seen."""
        if new.outcome is not Outcome.GIVEN_UP:
            self.ends.add(after)
        if new.outcome is not Outcome.DONE:
            return
        state = self.space.nodes[at[0]].state
        step = current(self.plan, state)
        missing = unmet(self.files.procedure.done.needs, self.names(new.facts))
        given = accepted(self.plan, state, move.event)
        for index, _ in step.starts:
            seen &= ~(1 << index)
        for index, _ in given.sets if given else ():
            seen |= 1 << index
        unseen = [n for i, n in enumerate(self.plan.fact_names) if self.claim & ~seen & (1 << i)]
        for name in sorted({*missing, *unseen}):
            self.fault(f"claims {self.plan.claim} although {name} was not seen as it must be", step, "done.needs", at)

    def asked(self, new: State, at: At) -> None:
        """A step is asked: nothing forbids its act, and its needs are met."""
        step = self.plan.steps[new.step]
        self.used.steps.add(step.id)
        facts = self.names(new.facts)
        act = self.acts[step.id]
        for rule in forbidding(self.files, act, facts) if act else ():
            self.fault(f"asks for {act} while the never rule {rule} forbids it", step, "act", at)
        for name in unmet(self.needs[step.id], facts):
            self.fault(f"is asked although {name} is not as needed", step, "needs", at)

    def announced(self, before: int, move: Move, state: State, decision: Decision) -> None:
        """An act was announced: never allowed while a rule forbids what may be so by now."""
        phrase = decision.act and self.plan.acts[decision.act].announce
        at = (before, (move, Move(Heard(phrase))))
        step = current(self.plan, state)
        facts = self.names(state.facts)
        asked = state.phase in BUSY and step.look < 0 and step.act == decision.act
        if not asked and state.phase not in {Phase.READY, Phase.OVER}:
            looked_at = {stale.fact for stale in state.stale} if state.phase is Phase.LOOKING else set()
            begun = self.plan.steps[state.step].starts
            facts |= {self.plan.fact_names[i]: value for i, value in begun if i not in looked_at}
        rules = forbidding(self.files, decision.act, facts)
        if decision.kind is Kind.ALLOWED:
            for rule in rules:
                self.fault(f"allows {decision.act} although the never rule {rule} forbids it", step, "act", at)
            if state.phase not in BUSY:
                self.fault(f"allows {decision.act} while the run is {state.phase}", step, "act", at)
        elif decision.rule:
            self.used.rules.add(decision.rule)
            self.used.alone |= set(rules) if len(rules) == 1 else set()
            if decision.rule not in rules:
                self.fault(f"refuses {decision.act} by {decision.rule}, which does not forbid it", step, "act", at)
        elif rules and state.phase in BUSY:
            self.fault(f"refuses {decision.act} without naming the never rule {rules[0]}", step, "act", at)
        if decision.state is not state:
            self.fault(f"moved when {decision.act} was announced", step, "act", at)

    # -- at the end -----------------------------------------------------------------------------
    def no_way_out(self) -> None:
        """Note every step from which the run cannot come to its end but by giving up or starting over."""
        out = set(self.ends)
        todo = deque(out)
        while todo:
            for before in self.ways.get(todo.popleft(), ()):
                if before not in out:
                    out.add(before)
                    todo.append(before)
        for index, node in enumerate(self.space.nodes):
            if index not in out and node.state.phase is not Phase.OVER:
                step = current(self.plan, node.state)
                what = "has no way to the end of the run but giving up or starting over"
                self.fault(what, step, "answer", (index, ()))

    def findings(self) -> list[Finding]:
        """Return every fault with the shortest way to it, nearest first."""
        replay = replay_command(self.plan)
        ways = [
            Finding(fault, (*self.space.path(index), *moves), replay) for fault, (index, moves) in self.found.items()
        ]
        return sorted(ways, key=lambda finding: (len(finding.moves), str(finding.fault)))


def check(files: Files, plan: Plan) -> Proof:
    """Explore one plan and return every fault with the shortest way to it."""
    checker = Checker(files, plan)
    space = explore(plan, checker, checker.space)
    if not any(space.nodes[index].state.outcome is Outcome.DONE for index in checker.ends):
        checker.fault(f"never comes to its end: {plan.claim} is never claimed", None, "done", (0, ()))
    checker.no_way_out()
    return Proof(space, checker.findings(), checker.used)
