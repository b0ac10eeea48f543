"""What each event wants: one small pure function a trigger.

A handler returns the decision it proposes. It never checks phases (the table does) and never
changes anything: a refusal is the same state with a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal

from assistant.engine import commands
from assistant.engine.events import Event, Heard, Measured, NotHeard, Resumed
from assistant.engine.moves import (
    arrive,
    ask,
    believed,
    broken_rule,
    current,
    doubt,
    interrupt,
    look_or_ask,
    start_again,
)
from assistant.engine.state import Decision, Kind, Line, Outcome, Pending, Phase, Snapshot, State
from assistant.phrases.units import convert, kind_of
from assistant.procedure.plan import Plan, PlanAnswer, PlanReading, changed

Handler = Callable[[Plan, State, Event, int], Decision]
MOST = 3  # unanswered askings that are counted; after as many the pad is offered or the run waits


def line(key: str, **places: str) -> Line:
    """Return a shared line by its key."""
    return Line("line", key, tuple(sorted(places.items())))


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


def went_stale(state: State) -> tuple[Line, ...]:
    """Say that things must be looked at again, where they must."""
    return (line("look-again"),) if state.phase is Phase.LOOKING else ()


def answer(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """An answer of the step: read back when critical, else it counts."""
    assert isinstance(event, Heard)  # noqa: S101 - the dispatcher's promise, for the type checker
    step = current(plan, state)
    if event.who != step.who:
        return Decision(state, Kind.REFUSED, "wrong-voice", lines=(line("wrong-voice", who=step.who),))
    given = step.answers[event.phrase]
    if given.critical:
        pending = Pending(event.phrase, state.phase)
        after = state._replace(phase=Phase.CONFIRMING, pending=pending, silent=0, misses=0, since=now)
        said = (line("read-back", phrase=event.phrase), line("read-back-ask"))
        return Decision(after, Kind.READ_BACK, lines=said)
    return take(plan, state, given, now, (line("heard", phrase=event.phrase),))


def take(plan: Plan, state: State, given: PlanAnswer, now: int, said: tuple[Line, ...]) -> Decision:
    """An answer counts: set its facts and go where it leads."""
    if current(plan, state).look >= 0:
        return looked(plan, state, given, now, said)
    facts = changed(believed(plan, state), given.sets)
    undo = Snapshot(state.step, state.facts)
    after, kind, reason, rule = arrive(plan, facts, given.next, undo, now)
    said += told(kind, reason)
    if after.phase is Phase.ASKING:
        said += ask(plan, after)
    return Decision(after, kind, reason, rule, lines=said)


def told(kind: Kind, reason: str) -> tuple[Line, ...]:
    """What is said of the way a move ended."""
    if kind is Kind.ENDED:
        return (line("done", title="") if reason == Outcome.DONE else line("halt"),)
    if kind is Kind.FAILED:
        return (line("fail"),)
    if kind is Kind.RESTARTED:
        return (line("restart" if reason == "restart" else "needs-unmet"),)
    return ()


def looked(plan: Plan, state: State, given: PlanAnswer, now: int, said: tuple[Line, ...]) -> Decision:
    """A look's answer: as it was, go on; otherwise the place is lost and the run starts again.

    What must be secured first is asked for until it is.
    """
    stale = state.stale[state.look]
    if given.sets[0][1] != stale.expected and stale.fact in plan.secure:
        lines = (*said, line("secure-first"), *ask(plan, state, short=True))
        return Decision(state._replace(since=now), Kind.ASKED_AGAIN, "secure-first", lines=lines)
    if given.sets[0][1] != stale.expected:
        after = start_again(plan, now)
        lines = (*said, line("look-differs"), *ask(plan, after))
        return Decision(after, Kind.RESTARTED, "look-differs", lines=lines)
    facts = changed(state.facts, given.sets)
    if state.look + 1 < len(state.stale):
        nxt = State(Phase.LOOKING, state.step, facts, stale=state.stale, look=state.look + 1, since=now)
        after = look_or_ask(plan, nxt)
        if after.phase is not Phase.LOOKING:
            return Decision(after, Kind.RESTARTED, "act-forbidden", lines=(*said, line("restart"), *ask(plan, after)))
        return Decision(after, Kind.ACCEPTED, lines=said + ask(plan, after))
    after, kind, reason, rule = arrive(plan, facts, state.step, None, now)
    said += told(kind, reason) if kind is not Kind.ACCEPTED else (line("look-done"),)
    return Decision(after, kind, reason, rule, lines=said + ask(plan, after))


def measure(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """A number: needs a unit of the right kind and a possible value; then it is read back."""
    assert isinstance(event, Measured)  # noqa: S101 - as above
    due = current(plan, state).reading
    assert due is not None  # noqa: S101 - as above
    limit = due.limit
    said = f"{event.value} {event.unit or ''}".strip()
    if event.unit is None:
        return ask_number(plan, state, now, "no-unit", line("no-unit"))
    if kind_of(event.unit) != limit.kind:
        return ask_number(plan, state, now, "wrong-kind", line("wrong-kind"))
    value = convert(event.value, event.unit, limit.unit)
    low, high = limit.plausible
    if not low <= value <= high:
        return ask_number(plan, state, now, "impossible", line("impossible", reading=said))
    pending = Pending("", state.phase, event.value, event.unit)
    after = state._replace(phase=Phase.CONFIRMING, pending=pending, silent=0, misses=0, since=now)
    lines = (line("read-back-number", reading=said), line("read-back-ask"))
    return Decision(after, Kind.READ_BACK, rule=limit.name, lines=lines)


def ask_number(plan: Plan, state: State, now: int, reason: str, why: Line) -> Decision:
    """Ask for the number again and say what was wrong with it."""
    after = state._replace(since=now, misses=min(state.misses + 1, MOST))
    return Decision(after, Kind.ASKED_AGAIN, reason, lines=(why, *ask(plan, after, short=True)[-1:]))


def hold(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """The driver holds: the count begins."""
    due = plan.steps[state.step].hold
    assert due is not None  # noqa: S101 - the dispatcher's promise
    after = state._replace(phase=Phase.HOLDING, since=now, counted=0, silent=0, misses=0)
    return Decision(after, Kind.HOLD_BEGUN, lines=(line("hold-begin", seconds=str(due.ms // 1000)),))


def confirm(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """What was read back is right: it counts now."""
    pending = state.pending
    assert pending is not None  # noqa: S101 - CONFIRMING always carries what it waits for
    step = current(plan, state)
    if isinstance(event, Heard) and pending.phrase not in commands.SESSION_PHRASES and event.who != step.who:
        return Decision(state, Kind.REFUSED, "wrong-voice", lines=(line("wrong-voice", who=step.who),))
    asked = state._replace(phase=pending.origin, pending=None)
    if pending.phrase == commands.GIVE_UP:
        return given_up(state, now)
    if pending.phrase == commands.START_OVER:
        again = start_again(plan, now)
        return Decision(again, Kind.RESTARTED, "asked-for", lines=(line("restart"), *ask(plan, again)))
    if pending.value is not None and pending.unit is not None and step.reading is not None:
        return judge(plan, asked, step.reading, pending.value, pending.unit, now)
    return take(plan, asked, step.answers[pending.phrase], now, ())


def judge(plan: Plan, state: State, due: PlanReading, value: Decimal, unit: str, now: int) -> Decision:
    """Hold a confirmed reading against the site's limit."""
    within = due.limit.passes(convert(value, unit, due.limit.unit))
    said = line("within" if within else "outside", reading=f"{value} {unit}")
    decision = take(plan, state, due.within if within else due.outside, now, (said,))
    reason = decision.reason or ("within" if within else "outside")
    return decision._replace(reason=reason, rule=decision.rule or due.limit.name)


def take_back(plan: Plan, state: State, _event: Event, now: int) -> Decision:
    """Correction: drop what waits to be confirmed, break a hold, or take the last answer back."""
    if state.phase is Phase.CONFIRMING and state.pending is not None:
        after = state._replace(phase=state.pending.origin, pending=None, silent=0, misses=0, since=now)
        said = (line("taken-back"), *(ask(plan, after) if after.phase in {Phase.ASKING, Phase.LOOKING} else ()))
        return Decision(after, Kind.TAKEN_BACK, "read-back-wrong", lines=said)
    if state.phase is Phase.HOLDING:
        after = state._replace(phase=Phase.ASKING, held=False, since=now, silent=0, misses=0)
        return Decision(after, Kind.TAKEN_BACK, "hold-broken", lines=(line("hold-broken"), *ask(plan, after)))
    if state.undo is None:
        lines = (line("nothing-to-take-back"), *ask(plan, state, short=True))
        return Decision(state, Kind.REFUSED, "nothing-to-take-back", lines=lines)
    started = tuple(index for index, _ in plan.steps[state.step].starts)
    after = doubt(plan, State(Phase.ASKING, state.step, state.facts), state.undo.step, state.undo.facts, started, now)
    said = (line("taken-back"), *went_stale(after), *ask(plan, after))
    return Decision(after, Kind.TAKEN_BACK, "last-answer", lines=said)


def command(_plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Start over, or give up: read back first, for either loses the place."""
    assert isinstance(event, Heard)  # noqa: S101 - as above
    after = state._replace(phase=Phase.CONFIRMING, pending=Pending(event.phrase, state.phase), since=now)
    return Decision(after, Kind.READ_BACK, lines=(line("command-ask", phrase=event.phrase),))


def give_up(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Give up: read back first, but while deaf it counts at once, for only a pad or a key can have said it."""
    return given_up(state, now) if state.phase is Phase.DEAF else command(plan, state, event, now)


def given_up(state: State, now: int) -> Decision:
    """The run ends safely without being done."""
    over = State(Phase.OVER, 0, state.facts, since=now, outcome=Outcome.GIVEN_UP)
    return Decision(over, Kind.ENDED, "given-up", lines=(line("given-up"),))


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


HANDLERS: Mapping[str, Handler] = {
    "begin": begin,
    "resume": resume,
    "answer": answer,
    "measure": measure,
    "hold": hold,
    "confirm": confirm,
    "take_back": take_back,
    "command": command,
    "give_up": give_up,
    "stand_by": stand_by,
    "go_ahead": go_ahead,
    "stop": stop,
    "all_clear": all_clear,
    "mic_lost": mic_lost,
    "mic_back": mic_back,
    "misheard": misheard,
    "announce": announce,
    "repeat": repeat,
    "setting": setting,
}
