"""Which part of a state decides about each kind of event: what is alike in it is tried once.

``tests/proof/test_explore.py`` holds each of these claims against the engine.
"""

from __future__ import annotations

from typing import Final

from assistant.engine.moves import believed, current
from assistant.engine.state import Phase, State
from assistant.procedure.plan import Plan
from assistant.proof.space import Node

BUSY: Final = frozenset({Phase.ASKING, Phase.HOLDING, Phase.CONFIRMING, Phase.LOOKING})
HALTING: Final = frozenset({Phase.WAITING, Phase.STOPPED, Phase.DEAF})


def announce_view(plan: Plan, state: State) -> tuple[object, ...]:
    """Return the part of a state that decides about an announced act."""
    kind = 0 if state.phase in BUSY else 1 if state.phase in HALTING else 2
    return kind, state.phase is Phase.LOOKING, state.step, state.facts, current(plan, state).look


def act_view(plan: Plan, state: State, act: str) -> tuple[object, ...]:
    """Return what of that decides about one act: the facts that its never rules read."""
    asked = state.phase in BUSY and current(plan, state).look < 0 and plan.steps[state.step].act == act
    facts = state.facts if asked else believed(plan, state)
    kind = 0 if state.phase in BUSY else 1 if state.phase in HALTING else 2
    return kind, asked, tuple(facts[index] for rule in plan.acts[act].rules for index, _ in rule.when)


def quiet_view(plan: Plan, state: State) -> tuple[object, ...]:
    """Return the part of a state that could decide about what never moves a run."""
    origin = state.pending.origin if state.pending else None
    return state.phase, state.step, state.held, origin, current(plan, state).look >= 0


def breaking_view(node: Node) -> tuple[object, ...]:
    """Return the part that decides about what breaks in: whatever was begun is dropped."""
    state = node.state
    kind = Phase.ASKING if state.phase in BUSY else state.phase
    return kind, state.step, state.facts, state.stale, state.look, state.undo, node.seen, node.undo_seen


def waiting_view(plan: Plan, node: Node) -> tuple[object, ...]:
    """Return the part that decides about a tick: of an answer read back only that it waits."""
    state = node.state
    return state.phase, state.held, current(plan, state).look, *breaking_view(node)
