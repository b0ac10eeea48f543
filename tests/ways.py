"""Every way a run can go by answers and readings alone, and the settings it can be run in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.events import Begin, Event, Heard, Measured, Tick
from assistant.engine.guide import good_value
from assistant.engine.moves import current
from assistant.engine.state import Decision, Outcome, Phase, State
from assistant.errors import NotMeantError
from assistant.phrases.live import Role
from assistant.prepare import every_setting, library
from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Files, load_files
from assistant.procedure.plan import Plan, PlanLimit

PROCEDURES = tuple(library().names("procedures"))


@dataclass(frozen=True, slots=True)
class Setting:
    """One plan and the files it comes from."""

    procedure: str
    rig: str
    site: str
    crew: str
    files: Files
    plan: Plan

    def __str__(self) -> str:
        return f"{self.procedure}, {self.rig}, {self.site}, {self.crew}"


@cache
def settings(procedure: str) -> tuple[Setting, ...]:
    """Return every rig, site and crew the procedure is for, compiled."""
    where = library()
    out = []
    for rig, site, crew in every_setting(where):
        files = load_files(where, procedure, rig, site, "en")
        try:
            out.append(Setting(procedure, rig, site, crew, files, compile_plan(files, crew)))
        except NotMeantError:
            continue
    return tuple(out)


def bad_value(limit: PlanLimit) -> Decimal:
    """A plausible reading outside the limit."""
    return next(value for value in limit.plausible if not limit.passes(value))


def answers(plan: Plan, state: State) -> Iterator[tuple[Event, int]]:
    """Yield every answer, reading, confirmation and end of a hold that counts now, and its wait."""
    step = current(plan, state)
    who = Role(step.who)
    if state.phase is Phase.CONFIRMING:
        yield Heard(commands.RIGHT, who), 0
    elif state.phase is Phase.HOLDING and step.hold is not None:
        yield Tick(), step.hold.ms
    elif step.hold is not None and not state.held:
        yield Heard(step.hold.begin), 0
    else:
        for phrase in step.answers:
            yield Heard(phrase, who), 0
        if step.reading is not None:
            limit = step.reading.limit
            yield Measured(good_value(limit), limit.unit, who), 0
            yield Measured(bad_value(limit), limit.unit, who), 0


@dataclass
class Ways:
    """All states answers can lead to, and what each decision was."""

    engine: Engine
    states: set[State] = field(default_factory=set)
    edges: list[tuple[State, Event, Decision, State]] = field(default_factory=list)

    @property
    def ends(self) -> set[State]:
        """The states in which a run is over."""
        return {state for state in self.states if state.phase is Phase.OVER}

    def leading_to(self, ends: set[State]) -> set[State]:
        """Return all states from which one of ``ends`` can be come to."""
        before: dict[State, set[State]] = {}
        for source, _, _, target in self.edges:
            before.setdefault(target, set()).add(source)
        seen, todo = set(ends), list(ends)
        while todo:
            for state in before.get(todo.pop(), ()):
                if state not in seen:
                    seen.add(state)
                    todo.append(state)
        return seen

    def done(self) -> set[State]:
        """The ends that claim what the procedure is for."""
        return {state for state in self.ends if state.outcome is Outcome.DONE}


def _bare(state: State) -> State:
    return state._replace(undo=None, since=0, counted=0)


def all_ways(plan: Plan) -> Ways:
    """Explore by answers alone, from the beginning."""
    ways = Ways(Engine(plan))
    first = _bare(ways.engine.decide(ways.engine.initial(), Begin(), 0).state)
    ways.states.add(first)
    todo = [first]
    while todo:
        state = todo.pop()
        if state.phase is Phase.OVER:
            continue
        for event, wait in answers(plan, state):
            decision = ways.engine.decide(state, event, wait)
            target = _bare(decision.state)
            ways.edges.append((state, event, decision, target))
            if target not in ways.states:
                ways.states.add(target)
                todo.append(target)
    return ways
