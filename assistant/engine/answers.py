"""What an answer, a number, a hold, a confirmation and a correction want.

Pure functions: each returns the decision it proposes, and a refusal is the same state with a reason.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.engine import commands
from assistant.engine.events import Event, Heard, Measured
from assistant.engine.moves import arrive, ask, believed, current, doubt, look_or_ask, start_again
from assistant.engine.saying import MOST, line, told, went_stale
from assistant.engine.state import Decision, Kind, Line, Outcome, Pending, Phase, Snapshot, State
from assistant.phrases.units import convert, kind_of
from assistant.procedure.plan import Plan, PlanAnswer, PlanReading, changed


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
