"""All that can happen to a run, and what each phase makes of it: what the exploration tries."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Final, NamedTuple

from assistant.engine import commands
from assistant.engine.events import Begin, DeviceChange, Event, Heard, Measured, Microphone, NotHeard, Resumed
from assistant.engine.state import Phase
from assistant.engine.table import OPEN
from assistant.phrases.live import Unheard
from assistant.phrases.number_types import UNITS
from assistant.phrases.units import convert, kind_of
from assistant.procedure.plan import Plan, PlanLimit, PlanStep

SMALL: Final = Decimal("0.001")
"""How far beside a bound a reading is tried, in the limit's own unit."""


class Move(NamedTuple):
    """Something that happens ``after`` milliseconds, and how often nobody had answered before."""

    event: Event
    after: int = 0
    silent: int = 0


NEVER_MOVING: Final = (commands.SAY_AGAIN, commands.WHERE, commands.HELP, *commands.SETTINGS)
SAID: Final = {
    Move(Heard(phrase)): trigger for phrase, trigger in commands.TRIGGERS.items() if phrase not in NEVER_MOVING
}
BREAKS: Final = {
    Move(Heard(commands.STOP)): "stop",
    Move(Heard(commands.STAND_BY)): "stand_by",
    Move(Microphone(DeviceChange.LOST)): "mic_lost",
    Move(Resumed(changed=False)): "resume",
    Move(Resumed(changed=True)): "resume",
}
OTHERS: Final = {Move(Begin()): "begin", Move(Microphone(DeviceChange.BACK)): "mic_back"}
BREAKING: Final = {at: tuple(move for move, pulls in BREAKS.items() if (pulls, at) in OPEN) for at in Phase}
"""What breaks into a run, by the phase it can break into."""

PLACED: Final = {
    at: tuple(
        move
        for move, pulls in {**SAID, **OTHERS}.items()
        if (pulls, at) in OPEN and move not in BREAKS and pulls != "go_ahead"
    )
    for at in Phase
}
"""What is said in a phase that takes it, or happens there, by phase."""

QUIET: Final = {
    at: (
        *(move for move, pulls in {**SAID, **BREAKS, **OTHERS}.items() if (pulls, at) not in OPEN),
        *(Move(Heard(phrase)) for phrase in NEVER_MOVING),
        Move(NotHeard(Unheard.NOT_A_PHRASE)),
    )
    for at in Phase
}
"""What cannot move a run, by phase: settings, repeats, and whatever does not count there."""


def readings(limit: PlanLimit) -> Iterator[Measured]:
    """Yield readings on both sides of and exactly at every edge of a limit, and unusable ones."""
    edges = [limit.plausible[0], limit.plausible[1]]
    edges += [side[0] for side in (limit.low, limit.high) if side is not None]
    values = {edge + off for edge in edges for off in (-SMALL, Decimal(0), SMALL)}
    yield from (Measured(value, limit.unit) for value in sorted(values))
    middle = (min(edges) + max(edges)) / 2
    yield Measured(middle, None)
    other = "mm" if limit.kind != "length" else "psi"
    yield Measured(middle, other)
    for unit in UNITS[kind_of(limit.unit)]:
        if unit != limit.unit:
            yield Measured(convert(middle, limit.unit, unit).quantize(SMALL), unit)  # so that it can be typed
            yield Measured(middle, unit)


def foreign_phrase(plan: Plan) -> str:
    """Return a phrase that counts nowhere in the plan: they are all treated alike."""

    def taken(step: PlanStep) -> set[str]:
        return set(step.answers) | ({step.hold.begin} if step.hold else set())

    used = set(commands.TRIGGERS) | set(plan.by_announcement)
    for step in (*plan.steps, *plan.looks.values()):
        used |= taken(step)
    name = "no-such-phrase"
    while name in used:
        name += "-again"
    return name
