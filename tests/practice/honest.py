"""A run in the classroom yard without a log: an honest crew and the engine, for tests."""

from __future__ import annotations

from dataclasses import dataclass, field

from assistant.engine.engine import Engine
from assistant.engine.events import Measured, Tick
from assistant.engine.state import Decision, Kind, Phase, State
from assistant.practice.crew import Crew, said
from assistant.practice.sights import fact
from assistant.practice.truth import Truth
from assistant.procedure.plan import Plan

ANSWER_MS = 6_000
MOST = 2_000


@dataclass
class Seen:
    """What came of an honest run."""

    crew: Crew
    state: State
    said: list[str] = field(default_factory=list)
    readings: list[str] = field(default_factory=list)
    kinds: list[str] = field(default_factory=list)
    against: list[str] = field(default_factory=list)
    steps: int = 0

    @property
    def harms(self) -> list[str]:
        """What was broken."""
        return [harm.kind for harm in self.crew.truth.harms]


def forbidden(plan: Plan, truth: Truth, act: str) -> list[str]:
    """The never rules that what is really so breaks, whatever anybody believes."""
    return [
        rule.id
        for rule in plan.acts[act].rules
        if all(fact(truth, plan.fact_names[index]) in values for index, values in rule.when)
    ]


def honest_run(plan: Plan, truth: Truth) -> Seen:
    """Drive a run to its end with an honest crew."""
    engine, crew = Engine(plan), Crew(plan, truth)
    seen = Seen(crew, engine.initial())
    state, now = engine.initial(), 0
    for _ in range(MOST):
        if state.phase is Phase.OVER:
            break
        if state.phase is Phase.ASKING:
            act = plan.steps[state.step].act
            if act is not None and (engine_step := (seen.steps, state.step)) and engine_step:
                seen.against += forbidden(plan, crew.truth, act) if not seen.kinds or seen.kinds[-1] != "read-back" else []
        crew.work(state)
        event = crew.honest(state)
        wait = 60_000 if isinstance(event, Tick) and state.phase is Phase.HOLDING else ANSWER_MS
        crew.wait(wait)
        if isinstance(event, Measured):
            event = crew.reading(plan.steps[state.step]) if state.phase is Phase.ASKING else event
        now += wait
        decision: Decision = engine.decide(state, event, now)
        crew.told(state, event, decision)
        seen.kinds.append(decision.kind.value)
        if decision.kind in {Kind.ACCEPTED, Kind.ENDED, Kind.FAILED, Kind.RESTARTED}:
            seen.said.append(said(state, event))
            if decision.reason in {"within", "outside"} or (state.pending and state.pending.value is not None):
                seen.readings.append(f"{plan.steps[state.step].id}:{said_reading(lines=decision.lines)}")
        state = decision.state
        seen.steps += 1
    seen.state = state
    return seen


def said_reading(lines: tuple[object, ...]) -> str:
    """Whether a reading was told to lie within its limit or outside it."""
    keys = {line.key for line in lines}  # type: ignore[attr-defined]
    return "outside" if "outside" in keys else "within"
