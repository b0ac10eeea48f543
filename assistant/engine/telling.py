"""What moves nothing: what was not understood, announced acts, repeats, the voice's settings.

Pure functions: each returns the decision it proposes.
"""

from __future__ import annotations

from assistant.engine import commands
from assistant.engine.events import Event, Heard, NotHeard
from assistant.engine.moves import (
    ask,
    believed,
    broken_rule,
    current,
)
from assistant.engine.saying import MOST, line
from assistant.engine.state import Decision, Kind, Line, Phase, State
from assistant.procedure.plan import Plan


def misheard(_plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Not understood: ask again, and offer the pad after the third time."""
    assert isinstance(event, NotHeard)  # noqa: S101 - as above
    misses = min(state.misses + 1, MOST)
    after = state._replace(misses=misses)
    said: tuple[Line, ...] = (Line("unheard", str(event.why)),)
    if state.phase in {Phase.ASKING, Phase.LOOKING, Phase.CONFIRMING}:
        after = after._replace(since=now)
        said += (line("offer-pad"),) if misses >= MOST else ()
    return Decision(after, Kind.ASKED_AGAIN, str(event.why), lines=said)


def announce(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """An announced act: allowed or refused against the rules, and only at its own step.

    Nothing moves either way: what becomes true is what the driver *sees* at the step's answer.
    """
    del now
    assert isinstance(event, Heard)  # noqa: S101 - as above
    act = plan.by_announcement[event.phrase]
    open_now = state.phase in {Phase.ASKING, Phase.HOLDING, Phase.CONFIRMING}
    step = plan.steps[state.step]
    asked = open_now and step.act == act.id and current(plan, state) is step
    # The step's own act was judged on arrival; judging it by what it has itself started would refuse it.
    rule = broken_rule(plan, act.id, state.facts if asked else believed(plan, state))
    if rule is not None:
        return Decision(state, Kind.REFUSED, "never", rule.id, act.id, (Line("never", rule.id),))
    if state.phase in {Phase.STOPPED, Phase.WAITING, Phase.DEAF}:
        return Decision(state, Kind.REFUSED, "not-now", "", act.id, (line("refused-phase"),))
    if asked or act.anytime:
        return Decision(state, Kind.ALLOWED, "this-step" if asked else "anytime", "", act.id, allowed(act.id))
    lines = (line("refused-order", act=act.id), *ask(plan, state, short=True)[-1:])
    return Decision(state, Kind.REFUSED, "not-this-step", "", act.id, lines)


def allowed(act: str) -> tuple[Line, ...]:
    """Say that an act may be done."""
    return (line("allowed", act=act),)


def repeat(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Say again, where are we, what can I say: tells, and moves nothing."""
    assert isinstance(event, Heard)  # noqa: S101 - as above
    after = state._replace(since=now) if state.phase in {Phase.ASKING, Phase.LOOKING} else state
    if event.phrase == commands.HELP:
        step = current(plan, state)
        open_phrases = (commands.RIGHT, commands.CORRECTION) if state.phase is Phase.CONFIRMING else tuple(step.answers)
        if state.phase in {Phase.WAITING, Phase.STOPPED}:
            open_phrases = (commands.GO_AHEAD if state.phase is Phase.WAITING else commands.CLEAR,)
        return Decision(after, Kind.REPEATED, "help", lines=(line("may-say", phrases=",".join(open_phrases)),))
    said: tuple[Line, ...] = ()
    if event.phrase == commands.WHERE:
        number, count = str(plan.steps[state.step].number), str(plan.count)
        said = (line("step-of", number=number, count=count, title=""),)
    return Decision(after, Kind.REPEATED, event.phrase, lines=said + again(plan, state))


def again(plan: Plan, state: State) -> tuple[Line, ...]:
    """What was asked last, whole."""
    if state.phase is Phase.CONFIRMING and state.pending is not None:
        pending = state.pending
        if pending.phrase in commands.SESSION_PHRASES:
            return (line("command-ask", phrase=pending.phrase),)
        if pending.value is not None:
            said = line("read-back-number", reading=f"{pending.value} {pending.unit}")
        else:
            said = line("read-back", phrase=pending.phrase)
        return (said, line("read-back-ask"))
    told_in = {Phase.WAITING: "stand-by", Phase.STOPPED: "stopped-remind", Phase.DEAF: "mic-lost"}
    if state.phase in told_in:
        return (line(told_in[state.phase]),)
    if state.phase is Phase.HOLDING:
        due = plan.steps[state.step].hold
        left = (due.ms - state.counted) // 1000 if due else 0
        return (line("hold-count", seconds=str(left)),)
    return ask(plan, state)


def setting(_plan: Plan, state: State, event: Event, _now: int) -> Decision:
    """Slower, faster, louder, quieter: the voice's business, noted."""
    assert isinstance(event, Heard)  # noqa: S101 - as above
    return Decision(state, Kind.SETTING, event.phrase, lines=(line("voice-set"),))
