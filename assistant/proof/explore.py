"""Every moment a run of one plan can come to, found by driving the engine itself until nothing new turns up.

There is no second model here: each edge is one call of ``Engine.decide``. What is thrown at every
state is in ``moves_at``, from ``moves.py``: all that can be said, typed, pressed, measured, waited
for or lost.

**What tells two states apart.** The state, less three fields that only affect wording or time:

* ``since`` (when this waiting began). The engine reads time only as ``now - since``, and only at a
  tick and at "go ahead". So states are kept with ``since = 0`` and each of those two is tried with
  every length of time that can make a difference: just before and at each limit.
* ``misses`` (how often nothing was understood) only chooses whether the pad is offered.
* ``counted`` (seconds of a hold counted aloud) only chooses what is counted next.

**What is not tried again.** Some events are decided from a part of the state only (``views.py``), and
are tried once for each such part: announced acts (``announce_view``, ``act_view``), what never moves a run, such as
"say again" or words that do not count here (``quiet_view``), what breaks in (``breaking_view``) and
waiting (``waiting_view``). Only answers and confirmations depend on who speaks, and a mate speaks
only where there is one. ``silent`` counts the unanswered askings; its
values 0 to 2 can always follow one another by waiting alone, and nothing but the tick reads it, so
a state is kept with 0 and the tick is tried with all three. Facts that nothing reads are kept as
unknown. While a run stands by, is stopped or cannot hear, every way on makes the facts in doubt
unknown and begins their looks anew, and after a stop or without a microphone nothing is left to
take back: so what was looked at half-way, and the snapshot, are dropped there (``kept``). Acts are
still announced to such a state as it was. An ended run stays ended: its facts are dropped, after
the checks have seen them. ``tests/proof/test_explore.py`` holds each of these claims against the engine.

**What is added.** ``seen``: which facts have their value from somebody's eyes since everything was
last cleared, and not from an act that was begun. No decision reads it; it is there for the checks.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from decimal import Decimal
from typing import Final

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.events import Event, Heard, Measured, Tick
from assistant.engine.moves import current
from assistant.engine.saying import MOST
from assistant.engine.state import Decision, Kind, Phase, Snapshot, State
from assistant.phrases.live import Role
from assistant.phrases.units import convert
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import Facts, Plan, PlanAnswer, changed
from assistant.proof.moves import BREAKING, PLACED, QUIET, Move, foreign_phrase, readings
from assistant.proof.space import Nobody, Node, Space, Watch
from assistant.proof.views import HALTING, act_view, announce_view, breaking_view, quiet_view, waiting_view

CHANGING: Final = frozenset({Kind.ACCEPTED, Kind.ENDED})


def read_facts(plan: Plan) -> frozenset[int]:
    """Return the positions of the facts that something in the plan reads."""
    read = {index for act in plan.acts.values() for rule in act.rules for index, _ in rule.when}
    read |= {index for step in plan.steps for index, _ in step.needs}
    read |= {index for step in plan.steps for index, _ in step.starts}
    return frozenset(read | {index for index, _ in plan.done_needs} | set(plan.decaying) | set(plan.looks))


class Explorer:
    """Explores one plan; use ``explore``."""

    def __init__(self, plan: Plan, watch: Watch, space: Space) -> None:
        self.plan = plan
        self.engine = Engine(plan)
        self.watch = watch
        self.space = space
        self._index: dict[Node, int] = {}
        self._tried: set[tuple[object, ...]] = set()
        self._unread = tuple(i for i in range(len(plan.fact_names)) if i not in read_facts(plan))
        self._kept: dict[Facts, Facts] = {}
        self._known: dict[Facts, int] = {}
        self._readings = {
            (step.look, step.id): tuple(readings(step.reading.limit))
            for step in (*plan.steps, *plan.looks.values())
            if step.reading
        }
        self._announcements = tuple((act.id, Heard(phrase)) for phrase, act in plan.by_announcement.items())
        self._voices = (Role.DRIVER, Role.MATE) if plan.crew == "mate" else (Role.DRIVER,)
        self._foreign = Heard(foreign_phrase(plan))

    # -- what is kept ---------------------------------------------------------------------------
    def keep(self, facts: Facts) -> Facts:
        """Return the facts with those nobody reads as unknown; one object for equal facts."""
        if facts not in self._kept:
            out = list(facts)
            for index in self._unread:
                out[index] = UNKNOWN
            kept = tuple(out)
            self._kept[facts] = self._kept.setdefault(kept, kept)
            self._known[kept] = sum(1 << i for i, value in enumerate(kept) if value != UNKNOWN)
        return self._kept[facts]

    def kept(self, state: State) -> State:
        """Return the state as it is kept: see the module's own words."""
        place = state.pending.origin if state.pending else state.phase
        facts, look, undo = state.facts, state.look, state.undo
        if place is Phase.OVER:
            facts = self.plan.blank
        elif place in HALTING:
            if state.stale:
                facts, look = changed(facts, tuple((stale.fact, UNKNOWN) for stale in state.stale)), 0
            if place is not Phase.WAITING:
                undo = None
        if undo is not None:
            undo = Snapshot(undo.step, self.keep(undo.facts))
        return State(
            state.phase, state.step, self.keep(facts), state.held, state.pending,
            state.stale, look, undo, outcome=state.outcome,
        )  # fmt: skip

    def node_after(self, node: Node, move: Move, decision: Decision) -> Node:
        """Return the node a decision leads to, with what has been seen by then."""
        before, after = node.state, self.kept(decision.state)
        if after == before:
            return node
        known = self._known[after.facts]
        seen, undo_seen = node.seen, node.undo_seen
        given = accepted(self.plan, before, move.event) if decision.kind in CHANGING else None
        if given is not None:
            undo_seen = seen
            if current(self.plan, before).look < 0:
                for index, _ in self.plan.steps[before.step].starts:
                    seen &= ~(1 << index)
            for index, _ in given.sets:
                seen |= 1 << index
        elif decision.kind is Kind.TAKEN_BACK and before.undo is not None and decision.reason == "last-answer":
            seen = undo_seen
        return Node(after, seen & known, undo_seen if after.undo else 0)

    # -- going on -------------------------------------------------------------------------------
    def run(self) -> Space:
        """Explore up to closure."""
        space = self.space
        start = Node(self.kept(self.engine.initial()))
        self._index[start] = 0
        space.nodes.append(start)
        space.parent.append(None)
        queue = deque([0])
        while queue:
            index = queue.popleft()
            for move in self.moves_at(space.nodes[index]):
                after = self.edge(index, move)
                if after is not None:
                    queue.append(after)
        return space

    def edge(self, index: int, move: Move) -> int | None:
        """Make one decision; return the node after it when it is new."""
        space, node = self.space, self.space.nodes[index]
        state = node.state._replace(silent=move.silent) if move.silent else node.state
        decision = self.engine.decide(state, move.event, move.after)
        space.decisions += 1
        if decision.state is not state:
            self.announce(index, move, decision.state)
        after = self.node_after(node, move, decision)
        number = self._index.get(after)
        new = number is None
        if number is None:
            number = self._index[after] = len(space.nodes)
            space.nodes.append(after)
            space.parent.append((index, move))
            if after.state.phase is Phase.ASKING:
                space.pairs.add((after.state.step, after.state.facts))
        space.edges += number != index
        self.watch.edge(index, move, decision, number)
        return number if new else None

    def moves_at(self, node: Node) -> Iterator[Move]:
        """Yield all that can happen at a node, less what was tried at a node that decides the same."""
        state = node.state
        step = current(self.plan, state)
        if state.phase in {Phase.ASKING, Phase.LOOKING}:
            yield from (Move(Heard(phrase, who)) for phrase in step.answers for who in self._voices)
            yield from (Move(event) for event in self._readings.get((step.look, step.id), ()))
            if step.hold is not None:
                yield Move(Heard(step.hold.begin))
        yield from PLACED[state.phase]
        if state.phase is Phase.CONFIRMING and Role.MATE in self._voices:
            yield Move(Heard(commands.RIGHT, Role.MATE))
        if state.phase is Phase.WAITING:
            waits = (0, self.plan.long_stand_by_ms - 1, self.plan.long_stand_by_ms)
            yield from (Move(Heard(commands.GO_AHEAD), wait) for wait in waits)
        if self.first(("wait", waiting_view(self.plan, node))):
            yield from self.waits(state)
        if self.first(("break", breaking_view(node))):
            yield from BREAKING[state.phase]
        if self.first(("quiet", quiet_view(self.plan, state))):
            yield from QUIET[state.phase]
            yield Move(self._foreign)
            if state.phase not in {Phase.ASKING, Phase.LOOKING} or step.reading is None:
                yield Move(Measured(Decimal(1), "psi"))

    def waits(self, state: State) -> Iterator[Move]:
        """Yield the lengths of time that can make a difference."""
        hold = self.plan.steps[state.step].hold
        due = hold.ms if state.phase is Phase.HOLDING and hold is not None else self.plan.ask_again_ms
        yield Move(Tick(), due - 1)
        for silent in range(MOST) if state.phase in {Phase.ASKING, Phase.LOOKING, Phase.CONFIRMING} else (0,):
            yield Move(Tick(), due, silent)

    def announce(self, index: int, move: Move, state: State) -> None:
        """Announce every act in the state that ``move`` led to, once for each part that decides."""
        state = state._replace(facts=self.keep(state.facts))
        if not self.first(("announce", announce_view(self.plan, state))):
            return
        for act, event in self._announcements:
            if self.first(("act", act, act_view(self.plan, state, act))):
                decision = self.engine.decide(state, event, state.since)
                self.space.decisions += 1
                self.watch.announced(index, move, state, decision)

    def first(self, view: tuple[object, ...]) -> bool:
        """Whether this part of a state has not been tried yet."""
        if view in self._tried:
            return False
        self._tried.add(view)
        return True


def accepted(plan: Plan, state: State, event: Event) -> PlanAnswer | None:
    """Return the answer or reading that ``event`` makes count in ``state``, if it is one."""
    if not isinstance(event, Heard):
        return None
    step, pending = current(plan, state), state.pending
    if pending is None:
        return step.answers.get(event.phrase)
    if event.phrase != commands.RIGHT:
        return None
    if pending.value is not None and pending.unit is not None and step.reading is not None:
        limit = step.reading.limit
        within = limit.passes(convert(pending.value, pending.unit, limit.unit))
        return step.reading.within if within else step.reading.outside
    return step.answers.get(pending.phrase)


def explore(plan: Plan, watch: Watch | None = None, space: Space | None = None) -> Space:
    """Explore every reachable state of a plan, telling ``watch`` of each edge; fills ``space``."""
    return Explorer(plan, watch or Nobody(), space or Space(plan)).run()
