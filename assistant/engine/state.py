"""The state of a run and what a decision is: frozen, hashable, small.

A state is never saved: it is the log, folded. Nothing here reads a clock.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from assistant.procedure.plan import Facts


class Phase(StrEnum):
    """Where a run stands between two events."""

    __hash__ = str.__hash__  # an enumeration's own is slow, and states are hashed by the million

    READY = "ready"  # loaded, not begun
    ASKING = "asking"  # a step is asked and its answers are live
    HOLDING = "holding"  # a time is being held, counted aloud
    CONFIRMING = "confirming"  # something was read back and waits to be confirmed
    LOOKING = "looking"  # facts that went stale are being looked at again
    WAITING = "waiting"  # the driver asked to stand by
    STOPPED = "stopped"  # an emergency stop
    DEAF = "deaf"  # no microphone
    OVER = "over"  # the run has ended


class Outcome(StrEnum):
    """How a run ended."""

    NONE = ""
    DONE = "done"
    GIVEN_UP = "given-up"
    HALTED = "halted"


class Pending(NamedTuple):
    """What was read back and waits for its confirmation.

    Either an answer (``phrase`` of the step or look), a command ("give-up", "start-over") or a
    reading (``value`` in ``unit`` as it was said). ``origin`` is the phase it was said in, to which
    a correction leads back.
    """

    phrase: str
    origin: Phase
    value: Decimal | None = None
    unit: str | None = None


class Snapshot(NamedTuple):
    """Where one answer ago: enough to take it back."""

    step: int
    facts: Facts


class Stale(NamedTuple):
    """A fact to be looked at again, and the value it had."""

    fact: int
    expected: str


class State(NamedTuple):
    """One moment of a run.

    ``facts`` are those on arrival at the step: what an act under way puts in doubt is worked out
    from the step (``believed``). ``look`` counts how far ``stale`` has been looked at. ``held``
    says that the step's hold is over. ``silent`` and ``misses`` count unanswered askings, at most
    three. ``since`` is when this waiting began and ``counted`` how many seconds of a hold have been
    counted aloud, both in milliseconds.
    """

    phase: Phase
    step: int
    facts: Facts
    held: bool = False
    pending: Pending | None = None
    stale: tuple[Stale, ...] = ()
    look: int = 0
    undo: Snapshot | None = None
    silent: int = 0
    misses: int = 0
    since: int = 0
    counted: int = 0
    outcome: Outcome = Outcome.NONE


class Kind(StrEnum):
    """What a decision was; the log's word for it."""

    __hash__ = str.__hash__

    BEGUN = "begun"
    RESUMED = "resumed"
    ACCEPTED = "accepted"  # an answer or reading counts
    READ_BACK = "read-back"  # said back, waits to be confirmed
    REFUSED = "refused"  # an act or answer was refused; nothing moved
    ALLOWED = "allowed"  # an announced act may be done
    ASKED_AGAIN = "asked-again"
    REPEATED = "repeated"  # say again, where are we, what can I say
    TAKEN_BACK = "taken-back"
    WAITING = "waiting"
    WENT_ON = "went-on"
    STOPPED = "stopped"
    DEAF = "deaf"
    HEARING_BACK = "hearing-back"
    HOLD_BEGUN = "hold-begun"
    HOLD_COUNTED = "hold-counted"
    HOLD_ENDED = "hold-ended"
    FAILED = "failed"  # a failed coupling: back to the start
    RESTARTED = "restarted"
    ENDED = "ended"
    SETTING = "setting"  # slower, louder …
    NOTHING = "nothing"  # a tick with nothing to do


class Line(NamedTuple):
    """Something to say: which text (``kind`` of table and ``key`` in it) and its places."""

    kind: str  # "line", "step", "short", "hazard", "never", "look", "unheard"
    key: str
    places: tuple[tuple[str, str], ...] = ()


class Decision(NamedTuple):
    """What an event came to: the next state, why, and what is to be said.

    ``reason`` is a stable code ("never", "not-this-step", "no-unit" …), ``rule`` the never rule or
    limit that decided, ``act`` the act judged. The words are found later, by language.
    """

    state: State
    kind: Kind
    reason: str = ""
    rule: str = ""
    act: str = ""
    lines: tuple[Line, ...] = ()
