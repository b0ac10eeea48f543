"""A driver who does everything right: what to say next, taken from the plan itself.

Serves the recorded driver of the demonstration, tests and benchmarks. By convention the first answer
of a step, and the first that is as it was at a look, is the good one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.events import Begin, Event, Heard, Measured, Tick
from assistant.engine.moves import current
from assistant.engine.state import Phase, State
from assistant.phrases.live import Role
from assistant.procedure.plan import Plan, PlanLimit


@dataclass(frozen=True, slots=True)
class Reply:
    """What the good driver does next: an event, or a wait of so many milliseconds."""

    event: Event
    wait_ms: int = 0


def good_value(limit: PlanLimit) -> Decimal:
    """A plausible reading within the limit, in its own unit: inside its bounds, never on one.

    As coarse as that allows: nobody reads a gauge to the tenth of a millibar.
    """
    low = limit.low[0] if limit.low else limit.plausible[0]
    high = limit.high[0] if limit.high else limit.plausible[1]
    middle = (low + high) / 2
    coarse = (middle.quantize(Decimal(1).scaleb(-places)) for places in range(3))
    return next((value for value in coarse if low < value < high), middle)


def reply(plan: Plan, state: State) -> Reply:
    """Return what the good driver says or does in ``state``."""
    step = current(plan, state)
    who = Role(step.who)
    if state.phase is Phase.READY:
        return Reply(Begin())
    if state.phase is Phase.CONFIRMING:
        return Reply(Heard(commands.RIGHT, who))
    if state.phase is Phase.HOLDING and step.hold is not None:
        return Reply(Tick(), step.hold.ms)
    if state.phase is Phase.WAITING:
        return Reply(Heard(commands.GO_AHEAD))
    if state.phase is Phase.STOPPED:
        return Reply(Heard(commands.CLEAR))
    if step.hold is not None and not state.held:
        return Reply(Heard(step.hold.begin))
    if step.reading is not None:
        limit = step.reading.limit
        return Reply(Measured(good_value(limit), limit.unit, who))
    if state.phase is Phase.LOOKING:
        expected = state.stale[state.look].expected
        phrase = next(answer.phrase for answer in step.answers.values() if answer.sets[0][1] == expected)
        return Reply(Heard(phrase, who))
    return Reply(Heard(next(iter(step.answers)), who))


def good_run(engine: Engine) -> Iterator[tuple[State, Reply]]:
    """Yield every state of a faultless run and what is said in it, to the end of the run."""
    state, now = engine.initial(), 0
    while state.phase is not Phase.OVER:
        told = reply(engine.plan, state)
        yield state, told
        now += 1000 + told.wait_ms
        state = engine.decide(state, told.event, now).state
