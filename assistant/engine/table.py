"""The law of the phases: which event may move a run from which phase to which.

This table is the only place that says so. The machine is built from it with ``transitions``; the
handlers in the other modules work out where an event *wants* to land, and a landing that is not in
the table is impossible. The diagram in the developers' guide is drawn from it.

The library's conveniences are off on purpose: automatic ``to_…`` triggers would be a way around the
rules, queued triggers answer True when refused, and ``on_exception`` swallows what must be seen.
"""

from __future__ import annotations

from typing import Final

from transitions import Machine

from assistant.engine.state import Phase

A, H, C, L = Phase.ASKING, Phase.HOLDING, Phase.CONFIRMING, Phase.LOOKING
W, S, D, O, R = Phase.WAITING, Phase.STOPPED, Phase.DEAF, Phase.OVER, Phase.READY  # noqa: E741

TABLE: Final[tuple[tuple[str, tuple[Phase, ...], tuple[Phase, ...]], ...]] = (
    # trigger, from any of, to any of
    ("begin", (R,), (A,)),
    ("resume", (R,), (A,)),
    ("resume", (A, H, C, L, W, D), (A, L)),
    ("resume", (C, S), (S,)),
    ("resume", (O,), (O,)),
    ("answer", (A,), (A, C, O)),
    ("answer", (L,), (A, L, C)),
    ("measure", (A,), (A, C)),
    ("measure", (L,), (L, C)),
    ("hold", (A,), (H,)),
    ("confirm", (C,), (A, C, L, O)),
    ("take_back", (A,), (A, L)),
    ("take_back", (H,), (A,)),
    ("take_back", (C,), (A, L, W, S)),
    ("take_back", (L,), (L,)),
    ("command", (A, L, W, S), (C,)),
    ("give_up", (A, L, W, S), (C,)),
    ("give_up", (D,), (O,)),
    ("stand_by", (A, H, C, L), (W,)),
    ("stand_by", (C,), (S,)),
    ("go_ahead", (W,), (A, L)),
    ("stop", (A, H, C, L, W, S, D), (S,)),
    ("all_clear", (S,), (A, L)),
    ("mic_lost", (A, H, C, L, W), (D,)),
    ("mic_lost", (C, S), (S,)),
    ("mic_back", (D,), (A, L)),
    ("mic_back", (S,), (S,)),
    ("tick", (A,), (A, W)),
    ("tick", (H,), (H, A)),
    ("tick", (C,), (C, W, S)),
    ("tick", (L,), (L, W)),
    ("tick", (W,), (W,)),
    ("tick", (S,), (S,)),
    ("tick", (D,), (D,)),
    *((same, (phase,), (phase,)) for same in ("repeat", "announce", "setting") for phase in (A, H, C, L, W, S, D)),
    *(("misheard", (phase,), (phase,)) for phase in (A, H, C, L, W, S)),
)


NAMES: Final = {phase: str(phase) for phase in Phase}
"""Phase → the machine's name of it: the library takes plain text only."""

MOVE_NAMES: Final = {(trigger, dest): f"{trigger} to {dest}" for trigger, _, dests in TABLE for dest in dests}
"""(trigger, phase it lands in) → the machine's trigger of that move."""


class Seat:
    """The machine's model: where the run stands."""

    state: str


def build_machine(seat: Seat) -> Machine:
    """Return the machine over ``seat``, built from the table alone.

    Each pair of trigger and landing is a trigger of its own, so that the machine has one
    transition to judge instead of one for each landing.
    """
    machine = Machine(
        model=seat,
        states=[str(phase) for phase in Phase],
        initial=str(Phase.READY),
        auto_transitions=False,
        ignore_invalid_triggers=False,
        queued=False,
    )
    for trigger, sources, dests in TABLE:
        for source in sources:
            for dest in dests:
                stays = source is dest  # then the library need not leave and enter the same state
                machine.add_transition(MOVE_NAMES[trigger, dest], str(source), None if stays else str(dest))
    return machine


OPEN: Final = frozenset((trigger, source) for trigger, sources, _ in TABLE for source in sources)
"""(trigger, phase) pairs that the table knows at all."""
