"""The engine: state, event and time in; decision out.

It decides what an event wants to be (``trigger_of``), lets the machine's table say whether that may
happen in this phase, has the handler work out the proposal, and lets the machine make the move. A
proposal that the table does not allow is our own bug and is raised as one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from transitions import MachineError

from assistant.engine import commands
from assistant.engine.events import Begin, DeviceChange, Event, Heard, Measured, Microphone, NotHeard, Resumed, Tick
from assistant.engine.handlers import HANDLERS, Handler
from assistant.engine.moves import ask, current, initial
from assistant.engine.saying import line
from assistant.engine.state import Decision, Kind, Phase, State
from assistant.engine.table import MOVE_NAMES, NAMES, OPEN, Seat, build_machine

if TYPE_CHECKING:
    from assistant.procedure.plan import Plan

NO_TRIGGER = ""
OUT_OF_PLACE = "not-live"


@dataclass(frozen=True, slots=True)
class LiveIds:
    """The phrase ids that count now, which of them need both ears, and the reading that is due."""

    phrases: frozenset[str]
    critical: frozenset[str]
    reading: str | None


class Engine:
    """Decides for one plan. Holds no run: the state is passed in and handed back.

    Owned by one thread, because the machine has one seat.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self._seat = Seat()
        self._machine = build_machine(self._seat)
        self._moves = {move: self._machine.events[name] for move, name in MOVE_NAMES.items()}
        self._handlers: dict[str, Handler] = dict(HANDLERS)
        self._live: dict[tuple[object, ...], LiveIds] = {}

    def initial(self) -> State:
        """Return the state before the run begins."""
        return initial(self.plan)

    def decide(self, state: State, event: Event, now: int) -> Decision:
        """Return what ``event`` comes to at ``now`` (milliseconds, same clock throughout a run)."""
        trigger = self.trigger_of(state, event)
        if (trigger, state.phase) not in OPEN:
            return self._out_of_place(state, event)
        decision = self._handlers[trigger](self.plan, state, event, now)
        landing = decision.state.phase
        self._seat.state = NAMES[state.phase]
        try:
            moved = self._moves[trigger, landing].trigger(self._seat)
        except (KeyError, MachineError):
            moved = False
        if not moved or self._seat.state != NAMES[landing]:
            raise RuntimeError(f"{trigger} may not move a run from {state.phase} to {landing}")
        return decision

    def trigger_of(self, state: State, event: Event) -> str:
        """Return the machine's trigger this event pulls, or "" where it pulls none."""
        match event:
            case Heard():
                return self._phrase_trigger(state, event)
            case Measured():
                if state.phase not in {Phase.ASKING, Phase.LOOKING} or not self._answers_live(state):
                    return NO_TRIGGER
                return "measure" if current(self.plan, state).reading else NO_TRIGGER
            case Tick():
                return "tick"
            case NotHeard():
                return "misheard"
            case Begin():
                return "begin"
            case Resumed():
                return "resume"
            case Microphone(change):
                return "mic_lost" if change is DeviceChange.LOST else "mic_back"

    def _answers_live(self, state: State) -> bool:
        step = current(self.plan, state)
        return step.hold is None or state.held

    def _phrase_trigger(self, state: State, event: Heard) -> str:
        known = commands.TRIGGERS.get(event.phrase)
        if known is not None:
            return known
        if event.phrase in self.plan.by_announcement:
            return "announce"
        if state.phase not in {Phase.ASKING, Phase.LOOKING}:
            return NO_TRIGGER
        step = current(self.plan, state)
        if not self._answers_live(state):
            return "hold" if step.hold is not None and event.phrase == step.hold.begin else NO_TRIGGER
        return "answer" if event.phrase in step.answers else NO_TRIGGER

    def _out_of_place(self, state: State, event: Event) -> Decision:
        """Something that does not count here: told, and nothing moves."""
        if isinstance(event, Tick | NotHeard) or state.phase in {Phase.OVER, Phase.READY}:
            said = (line("over"),) if state.phase is Phase.OVER and isinstance(event, Heard | Measured) else ()
            return Decision(state, Kind.NOTHING, OUT_OF_PLACE, lines=said)
        if isinstance(event, Microphone):
            return Decision(state, Kind.NOTHING, OUT_OF_PLACE)
        phrase = event.phrase if isinstance(event, Heard) else ""
        why = line("not-live", phrase=phrase)
        short = ask(self.plan, state, short=True)[-1:] if state.phase in {Phase.ASKING, Phase.LOOKING} else ()
        return Decision(state, Kind.REFUSED, OUT_OF_PLACE, lines=(why, *short))

    def live(self, state: State) -> LiveIds:
        """Return what may be heard in ``state``; cached, for the set is small and asked for often."""
        key = (state.phase, state.step, state.held, state.look if state.stale else -1)
        if key not in self._live or state.pending is not None:
            self._live[key] = self._open(state)
        return self._live[key]

    def _open(self, state: State) -> LiveIds:
        if state.phase in {Phase.OVER, Phase.READY}:
            return LiveIds(frozenset(), frozenset(), None)
        session = {phrase for phrase, trigger in commands.TRIGGERS.items() if (trigger, state.phase) in OPEN}
        critical = {commands.RIGHT, commands.CLEAR, commands.GIVE_UP, commands.START_OVER} & session
        phrases = session | set(self.plan.by_announcement)
        reading = None
        if state.phase in {Phase.ASKING, Phase.LOOKING}:
            step = current(self.plan, state)
            if not self._answers_live(state):
                phrases |= {step.hold.begin} if step.hold else set()
            else:
                phrases |= set(step.answers)
                critical |= {answer.phrase for answer in step.answers.values() if answer.critical}
                reading = step.reading.limit.kind if step.reading else None
        return LiveIds(frozenset(phrases), frozenset(critical), reading)
