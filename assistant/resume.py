"""Going on with a run, and replaying one: the log is folded through the engine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.engine.engine import Engine
from assistant.engine.events import Resumed, event_from_data
from assistant.engine.record import decision_to_data
from assistant.engine.state import Phase, State
from assistant.errors import HitchcallError, InputError
from assistant.journal.fold import Input, Redecide, inputs
from assistant.journal.records import Json, Opened
from assistant.prepare import Prepared


@dataclass(frozen=True, slots=True)
class Folded:
    """Where a run stands: its state, and whether this program decides as the one before did."""

    state: State
    same: bool


def fold(prepared: Prepared, run: Path) -> Folded:
    """Fold a run's log from its last fresh start through the engine."""
    engine = prepared.engine
    state = engine.initial()
    same = True
    before: list[Input] = []
    for one in inputs(run):
        event = event_from_data(one.event)
        if isinstance(event, Resumed) and event.changed:
            # Files changed then: what came before was decided by others and counts no more.
            state, same = begun_anew(engine, before), True
        before.append(one)
        decision = engine.decide(state, event, one.at)
        same = same and decision_to_data(prepared.plan, state, decision) == dict(one.decision)
        state = decision.state
    return Folded(state, same)


def begun_anew(engine: Engine, before: Iterable[Input]) -> State:
    """Return the state to go on from where what came ``before`` was decided under other files.

    Nothing of it is believed, but an emergency stop stays one: it is read from the decisions as they
    were logged, for the engine that made them is no longer there.
    """
    stopped = False
    for one in before:
        phase = one.decision["phase"]
        # A command given during a stop waits to be confirmed: what it was said in is still so.
        stopped = phase == Phase.STOPPED or (stopped and phase == Phase.CONFIRMING)
    return engine.initial()._replace(phase=Phase.STOPPED) if stopped else engine.initial()


def changed_files(prepared: Prepared, before: Mapping[str, object]) -> tuple[str, ...]:
    """Return the names of files that are not what they were."""
    now = prepared.hashes
    return tuple(sorted(name for name in {*now, *before} if now.get(name) != before.get(name)))


def redecider(prepare_as: Callable[[Opened], Prepared]) -> Callable[[Opened], Redecide]:
    """Return the factory of ``log replay``: from a run's first record to its engine."""

    def factory(opened: Opened) -> Redecide:
        prepared = prepare_as(opened)
        differ = changed_files(prepared, opened.files)
        if differ:
            raise InputError(
                f"The run was made with other files ({', '.join(differ)}); name the folder that holds them "
                "with --procedures."
            )
        engine = prepared.engine
        state = engine.initial()

        def redecide(event: Json, at: int) -> Json:
            nonlocal state
            came = event_from_data(event)
            if isinstance(came, Resumed) and came.changed:
                raise HitchcallError("From here on the run was made with other files and cannot be replayed.")
            decision = engine.decide(state, came, at)
            data = decision_to_data(prepared.plan, state, decision)
            state = decision.state
            return data

        return redecide

    return factory
