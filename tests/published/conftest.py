"""Every shipped plan, for tests that hold them against published texts."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from assistant.engine.engine import Engine
from assistant.engine.events import Heard
from assistant.engine.state import Decision, Phase, State
from assistant.prepare import every_setting, library
from assistant.procedure.plan import Plan, changed
from assistant.proof.library import Run, plan_of


@cache
def plans() -> tuple[Plan, ...]:
    """Return every shipped procedure on every rig, site and crew it is for."""
    where = library()
    runs = (Run(name, *parts) for name in where.names("procedures") for parts in every_setting(where))
    return tuple(found[1] for found in (plan_of(where, run, "en") for run in runs) if found is not None)


def plans_of(procedure: str) -> Iterator[Plan]:
    """Yield the plans of one procedure."""
    yield from (plan for plan in plans() if plan.procedure == procedure)


def one_plan_each() -> Iterator[Plan]:
    """Yield one plan for each procedure: acts and rules are the same on all rigs and sites."""
    seen: set[str] = set()
    for plan in plans():
        if plan.procedure not in seen:
            seen.add(plan.procedure)
            yield plan


_ENGINES: dict[int, tuple[Plan, Engine]] = {}


def engine_of(plan: Plan) -> Engine:
    """Return an engine for a plan, built once."""
    if id(plan) not in _ENGINES:
        _ENGINES[id(plan)] = (plan, Engine(plan))  # the plan is kept, so that its id stays its own
    return _ENGINES[id(plan)][1]


def announced(plan: Plan, act: str, facts: dict[str, str]) -> Decision:
    """Return what the engine says to ``act`` where it is asked for, or else at the first step, with these facts."""
    asking = [number for number, step in enumerate(plan.steps) if step.act == act]
    values = tuple((plan.fact_names.index(name), value) for name, value in facts.items())
    state = State(Phase.ASKING, asking[0] if asking else 0, changed(plan.blank, values))
    return engine_of(plan).decide(state, Heard(plan.acts[act].announce), 0)
