"""Moves between steps: arriving, asking, falling into doubt, starting again.

Pure functions over plan and state. Each returns a new state and the lines to say; none decides
whether it may be called, which is the table's and the engine's work.
"""

from __future__ import annotations

from assistant.engine.state import Kind, Line, Outcome, Phase, Snapshot, Stale, State
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import DONE, FAIL, HALT, RESTART, Facts, Plan, PlanRule, PlanStep, changed, forbids, holds

SAFE_ENDS = {HALT: Outcome.HALTED, DONE: Outcome.DONE}


def initial(plan: Plan) -> State:
    """Return the state before a run begins."""
    return State(Phase.READY, 0, plan.blank)


def believed(plan: Plan, state: State) -> Facts:
    """Return the facts as they may be now: an act under way puts what it changes in doubt.

    While facts are looked at again, the act of the step that was broken off may still have changed
    the others.
    """
    if state.phase in {Phase.READY, Phase.OVER}:
        return state.facts
    starts = plan.steps[state.step].starts
    if state.phase is Phase.LOOKING:
        looked_at = {stale.fact for stale in state.stale}
        starts = tuple(change for change in starts if change[0] not in looked_at)
    return changed(state.facts, starts)


def current(plan: Plan, state: State) -> PlanStep:
    """Return the step that is asked now: the look, while facts are looked at again."""
    if state.stale and _looking(state):
        return plan.looks[state.stale[state.look].fact]
    return plan.steps[state.step]


def _looking(state: State) -> bool:
    return state.phase is Phase.LOOKING or (state.pending is not None and state.pending.origin is Phase.LOOKING)


def broken_rule(plan: Plan, act: str | None, facts: Facts) -> PlanRule | None:
    """Return the first never rule that forbids ``act`` under ``facts``."""
    if act is None:
        return None
    return next((rule for rule in plan.acts[act].rules if forbids(rule, facts)), None)


def ask(plan: Plan, state: State, *, short: bool = False) -> tuple[Line, ...]:
    """Return the lines that ask the current step: its hazard first, then its sentence."""
    step = current(plan, state)
    table = "look" if step.look >= 0 else "step"
    lines: tuple[Line, ...] = (Line("hazard", step.hazard),) if step.hazard else ()
    lines += (Line(f"{table}-short" if short else table, step.id),)
    if step.hold is not None and not state.held:
        lines += (Line("line", "hold-ask", (("phrase", step.hold.begin), ("seconds", str(step.hold.ms // 1000)))),)
    return lines


def arrive(plan: Plan, facts: Facts, target: int, undo: Snapshot | None, now: int) -> tuple[State, Kind, str, str]:
    """Go to ``target`` with ``facts``; returns state, kind, reason code and rule id.

    A step is never asked whose needs are unmet or whose act is forbidden: the place is lost then,
    and the whole procedure starts again. A proven procedure never gets there.
    """
    if target in {RESTART, FAIL}:
        kind = Kind.FAILED if target == FAIL else Kind.RESTARTED
        return start_again(plan, now), kind, "failed-coupling" if target == FAIL else "restart", ""
    if target == DONE and not holds(plan.done_needs, facts):
        return start_again(plan, now), Kind.RESTARTED, "needs-unmet", ""
    if target in SAFE_ENDS:
        over = State(Phase.OVER, 0, facts, since=now, outcome=SAFE_ENDS[target])
        return over, Kind.ENDED, str(SAFE_ENDS[target]), ""
    step = plan.steps[target]
    if not holds(step.needs, facts):
        return start_again(plan, now), Kind.RESTARTED, "needs-unmet", ""
    rule = broken_rule(plan, step.act, facts)
    if rule is not None:
        return start_again(plan, now), Kind.RESTARTED, "act-forbidden", rule.id
    return State(Phase.ASKING, target, facts, undo=undo, since=now), Kind.ACCEPTED, "", ""


def start_again(plan: Plan, now: int) -> State:
    """Back to the first step with nothing believed."""
    return State(Phase.ASKING, 0, plan.blank, since=now)


def doubt(plan: Plan, state: State, step: int, facts: Facts, which: tuple[int, ...], now: int) -> State:
    """Make ``which`` facts unknown, to be looked at before ``step`` is asked again.

    Facts already waiting to be looked at stay in the list with the value they had, and are all
    looked at anew: nobody may count on a look from before the interruption. A fact with a secure
    value is to be brought to that, whatever it was: brakes on before anyone goes to look.
    """
    expected = {stale.fact: stale.expected for stale in state.stale}
    for fact in which:
        if facts[fact] != UNKNOWN and fact not in expected:
            expected[fact] = plan.secure.get(fact, facts[fact])
    stale = tuple(Stale(fact, expected[fact]) for fact in sorted(expected))
    facts = changed(facts, tuple((fact, UNKNOWN) for fact in sorted(expected)))
    phase = Phase.LOOKING if stale else Phase.ASKING
    return look_or_ask(plan, State(phase, step, facts, stale=stale, since=now))


def look_or_ask(plan: Plan, state: State) -> State:
    """A look whose own act is forbidden must not be asked: the place is lost, start again."""
    if state.phase is Phase.LOOKING and broken_rule(plan, current(plan, state).act, believed(plan, state)):
        return start_again(plan, state.since)
    return state


def interrupt(plan: Plan, state: State, now: int) -> State:
    """After power, microphone or a long wait: every fact that decays is unknown again."""
    return doubt(plan, state, state.step, state.facts, plan.decaying, now)
