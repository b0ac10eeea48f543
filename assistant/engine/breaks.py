"""What begins a run, breaks into it and lets it go on: power, microphone, waiting, an emergency stop.

Pure functions: each returns the decision it proposes. A stop stays a stop through all of them.
"""

from __future__ import annotations

from assistant.engine.events import Event, Resumed
from assistant.engine.moves import (
    ask,
    interrupt,
    start_again,
)
from assistant.engine.saying import line, went_stale
from assistant.engine.state import Decision, Kind, Line, Phase, State
from assistant.procedure.plan import Plan


def begin(plan: Plan, _state: State, _event: Event, now: int) -> Decision:
    """Start at the first step with nothing believed."""
    state = start_again(plan, now)
    said = (line("caution"), line("begin", title="", rig=plan.rig, site=plan.site))
    return Decision(state, Kind.BEGUN, lines=said + ask(plan, state))


def resume(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Go on after the program ended; facts that decay are looked at again."""
    changed_files = isinstance(event, Resumed) and event.changed
    if state.phase is Phase.OVER:
        return Decision(state._replace(since=now), Kind.RESUMED, lines=(line("caution"), line("over")))
    if is_stopped(state):
        kept = start_again(plan, now) if changed_files else state
        return Decision(halted(kept, now), Kind.RESUMED, lines=(line("caution"), line("stopped-remind")))
    if state.phase is Phase.READY or changed_files:
        again = start_again(plan, now)
        began = (line("caution"), line("resumed", title=""), line("restart"))
        return Decision(again, Kind.RESUMED, "files-changed", lines=began + ask(plan, again))
    after = interrupt(plan, state, now)
    said: tuple[Line, ...] = (line("caution"), line("resumed", title=""), *went_stale(after))
    return Decision(after, Kind.RESUMED, lines=said + ask(plan, after))


def stand_by(_plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Wait; what was read back or held is dropped and asked again. A stop stays a stop."""
    if is_stopped(state):
        return Decision(halted(state, now), Kind.STOPPED, "stop-stays", lines=(line("stopped-remind"),))
    return Decision(waiting(state, now), Kind.WAITING, "asked-for", lines=(line("stand-by"),))


def waiting(state: State, now: int) -> State:
    """The state while standing by."""
    return state._replace(phase=Phase.WAITING, pending=None, held=False, silent=0, misses=0, since=now)


def go_ahead(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Go on after standing by; after a long wait the facts that decay are looked at again."""
    if now - state.since >= plan.long_stand_by_ms or state.stale:
        after, reason = interrupt(plan, state, now), "long-wait"
    else:
        after, reason = state._replace(phase=Phase.ASKING, since=now), ""
    said = (line("go-ahead"), *went_stale(after), *ask(plan, after))
    return Decision(after, Kind.WENT_ON, reason, lines=said)


def is_stopped(state: State) -> bool:
    """Whether a stop holds: also while a command given during the stop waits to be confirmed."""
    return state.phase is Phase.STOPPED or (state.pending is not None and state.pending.origin is Phase.STOPPED)


def halted(state: State, now: int) -> State:
    """The state while stopped."""
    return state._replace(phase=Phase.STOPPED, pending=None, held=False, silent=0, misses=0, since=now)


def stop(_plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Emergency stop: everything waits until everyone is seen clear."""
    return Decision(halted(state, now), Kind.STOPPED, lines=(line("stopped"),))


def all_clear(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Everyone was seen clear after a stop: look again at what decays, then go on."""
    after = interrupt(plan, state, now)
    return Decision(after, Kind.WENT_ON, "after-stop", lines=(*went_stale(after), *ask(plan, after)))


def mic_lost(_plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Nobody can be heard: nothing advances. A stop stays a stop."""
    if is_stopped(state):
        return Decision(halted(state, now), Kind.DEAF, lines=(line("mic-lost"),))
    after = state._replace(phase=Phase.DEAF, pending=None, held=False, since=now)
    return Decision(after, Kind.DEAF, lines=(line("mic-lost"),))


def mic_back(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """The microphone is back: look again at what decays."""
    if state.phase is Phase.STOPPED:
        return Decision(state, Kind.HEARING_BACK, lines=(line("mic-back"), line("stopped-remind")))
    after = interrupt(plan, state, now)
    return Decision(after, Kind.HEARING_BACK, lines=(line("mic-back"), *went_stale(after), *ask(plan, after)))
