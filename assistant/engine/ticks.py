"""What the passing of time does: counts holds aloud, answers silence, then stands by."""

from __future__ import annotations

from assistant.engine.breaks import halted, is_stopped, waiting
from assistant.engine.events import Event
from assistant.engine.moves import ask
from assistant.engine.saying import MOST, line
from assistant.engine.state import Decision, Kind, Phase, State
from assistant.procedure.plan import Plan

SECOND = 1000
EVERY = 5 * SECOND  # holds over ten seconds are counted every five, so that the count can be followed
SHORT_HOLD = 10 * SECOND


def tick(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Do what the time since ``state.since`` asks for, if anything."""
    passed = now - state.since
    if state.phase is Phase.HOLDING:
        return count(plan, state, passed, now)
    if passed < plan.ask_again_ms or state.phase in {Phase.WAITING, Phase.DEAF}:
        return Decision(state, Kind.NOTHING)
    if state.phase is Phase.STOPPED:
        return Decision(state._replace(since=now), Kind.REPEATED, "silence", lines=(line("stopped-remind"),))
    silent = state.silent + 1
    if silent >= MOST and is_stopped(state):
        return Decision(halted(state, now), Kind.STOPPED, "silence", lines=(line("stopped-remind"),))
    if silent >= MOST:
        return Decision(waiting(state, now), Kind.WAITING, "silence", lines=(line("stand-by-silence"),))
    after = state._replace(silent=silent, since=now)
    if state.phase is Phase.CONFIRMING:
        return Decision(after, Kind.ASKED_AGAIN, "silence", lines=(line("read-back-ask"),))
    lines = (line("ask-again"), *ask(plan, after, short=True))
    return Decision(after, Kind.ASKED_AGAIN, "silence", lines=lines)


def count(plan: Plan, state: State, passed: int, now: int) -> Decision:
    """Count a hold aloud; at its end its step takes answers."""
    due = plan.steps[state.step].hold
    assert due is not None  # noqa: S101 - HOLDING is entered only from a step that holds
    if passed >= due.ms:
        after = state._replace(phase=Phase.ASKING, held=True, since=now, counted=0)
        return Decision(after, Kind.HOLD_ENDED, lines=(line("hold-end"), *ask(plan, after, short=True)))
    every = SECOND if due.ms <= SHORT_HOLD else EVERY
    counted = passed - passed % every
    if counted <= state.counted:
        return Decision(state, Kind.NOTHING)
    left = (due.ms - counted) // SECOND
    return Decision(state._replace(counted=counted), Kind.HOLD_COUNTED, lines=(line("hold-count", seconds=str(left)),))
