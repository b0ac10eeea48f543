"""A run in the classroom yard without a log: an honest crew and the engine, for tests."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache

from assistant.engine.engine import Engine
from assistant.engine.state import Kind, Phase, State
from assistant.errors import NotMeantError
from assistant.practice.crew import Crew, said
from assistant.practice.judging import broken
from assistant.practice.starts import fit_of, start
from assistant.practice.truth import Fit, Truth
from assistant.prepare import every_setting, library
from assistant.procedure.compile import compile_plan
from assistant.procedure.load import load_files
from assistant.procedure.plan import Plan

ANSWER_MS = 6_000
MOST = 2_000


@dataclass(frozen=True)
class Yard:
    """One procedure on one rig, ready to be walked through."""

    procedure: str
    rig: str
    site: str
    crew: str
    plan: Plan
    fit: Fit

    def truth(self) -> Truth:
        """The rig as a trainee finds it."""
        return start(self.procedure, self.fit)


@cache
def yards() -> tuple[Yard, ...]:
    """Every setting there is."""
    where = library()
    out = []
    for procedure in where.names("procedures"):
        for rig, site, crew in every_setting(where):
            files = load_files(where, procedure, rig, site, "en")
            try:
                plan = compile_plan(files, crew)
            except NotMeantError:
                continue
            out.append(Yard(procedure, rig, site, crew, plan, fit_of(files, crew)))
    return tuple(out)


@dataclass
class Seen:
    """What came of an honest run."""

    crew: Crew
    state: State
    said: list[str] = field(default_factory=list)
    outside: int = 0
    against: list[str] = field(default_factory=list)

    @property
    def harms(self) -> list[str]:
        """What was broken."""
        return [harm.kind for harm in self.crew.truth.harms]


def honest_run(plan: Plan, truth: Truth) -> Seen:
    """Drive a run to its end with an honest crew; every act asked for is held against what is so."""
    engine, crew = Engine(plan), Crew(plan, truth)
    seen = Seen(crew, engine.initial())
    state, now = engine.initial(), 0
    for _ in range(MOST):
        if state.phase is Phase.OVER:
            break
        step = plan.steps[state.step]
        if state.phase is Phase.ASKING and step.act is not None and not crew.worked(state):
            seen.against += broken(plan, crew.truth, step.act)
        crew.work(state)
        holding = state.phase is Phase.HOLDING
        wait = (step.hold.ms if step.hold else 0) if holding else ANSWER_MS
        crew.wait(wait)
        now += wait
        event = crew.honest(state)
        decision = engine.decide(state, event, now)
        if decision.kind in {Kind.ACCEPTED, Kind.ENDED, Kind.FAILED, Kind.RESTARTED}:
            seen.said.append(said(state, event))
            seen.outside += any(line.key == "outside" for line in decision.lines)
        crew.told(state, event, decision)
        state = decision.state
    seen.state = state
    return seen
