"""The automatic driver: a seeded chance makes a whole run, through the real session, log and resume.

It does to the program what people do: works and looks, or only says so; announces too early, corrects,
stands by, falls silent, shouts stop, is not understood; loses the microphone; has the power cut amid a
write and goes on. The simulation knows what was so all the while.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from random import Random
from typing import Final

from assistant.ears.base import Signal
from assistant.engine import commands
from assistant.engine.events import Heard, Measured, Tick
from assistant.engine.moves import current
from assistant.engine.state import Kind, Phase, State
from assistant.phrases.live import Hearing, Live, Role
from assistant.practice import acts
from assistant.practice.crew import Crew, said
from assistant.practice.judging import broken
from assistant.practice.manner import Manner
from assistant.practice.mouth import QUIET_DB, Mouth
from assistant.practice.pretence import PretenceClocks
from assistant.prepare import Prepared
from assistant.session import Shown

MOST_TURNS: Final = 1500
IN_CAB: Final = frozenset({"tractor-brake", "gear", "engine", "air", "air-test"})


class PowerCutError(Exception):
    """The power goes: raised out of the session, which gets no chance to end anything."""


@dataclass(slots=True)
class Conduct:
    """What a driver did in a run and what became of it.

    ``unsafe`` are never rules that an act allowed broke by what was so, while the driver was honest.
    """

    lies: int = 0
    skips: int = 0
    defied: int = 0
    turns: int = 0
    refused: list[str] = field(default_factory=list)
    allowed: int = 0
    unsafe: list[str] = field(default_factory=list)
    answers: list[str] = field(default_factory=list)

    @property
    def honest(self) -> bool:
        """Whether every answer was true, all work was done, and every refusal obeyed."""
        return not (self.lies or self.skips or self.defied)


class AutomaticDriver:
    """Ears that are a driver: asked to listen, it does something and is heard. Owned by one run."""

    patient = True

    def __init__(
        self,
        prepared: Prepared,
        crew: Crew,
        clocks: PretenceClocks,
        manner: Manner,
        chance: Random,
        *,
        noise_db: float | None = QUIET_DB,
    ) -> None:
        self.prepared = prepared
        self.crew = crew
        self.clocks = clocks
        self.manner = manner
        self.chance = chance
        self.mouth = Mouth(prepared, clocks, manner, chance, noise_db)
        self.conduct = Conduct()
        self.state: State = prepared.engine.initial()
        self._skipped: tuple[object, ...] = ()
        self._quiet_ms = 0
        self._announced = False
        self._done_before = -1

    # -- what the session calls -----------------------------------------------------------------
    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Do the next thing a driver of this manner does."""
        del timeout
        self.conduct.turns += 1
        if self.conduct.turns > MOST_TURNS:
            return Signal.ENDED
        if self._quiet_ms > 0:
            return self._silence()
        state, manner = self.state, self.manner
        if self._may(manner.power_cut):
            raise PowerCutError
        if self._may(manner.clock_set):
            self.clocks.set_wall(self.chance.choice((-3_600_000, 90_000, 5_000)))
        if state.phase is Phase.DEAF:
            self.clocks.advance(self.chance.randrange(1_000, 40_000))
            return Signal.BACK
        if self._may(manner.mic_lost):
            return Signal.LOST
        if state.phase is Phase.HOLDING:
            return self._holding(live)
        return self._speak(live)

    def close(self) -> None:
        """Have nothing to free."""

    def show(self, shown: Shown) -> None:
        """Learn what was decided, as a driver does by ear; judge what was allowed by what is so."""
        before, decision = self.state, shown.decision
        self.state = shown.state
        if decision.kind is Kind.REFUSED and decision.rule:
            self.conduct.refused.append(decision.rule)
        if decision.kind is Kind.ALLOWED:
            self.conduct.allowed += 1
            self._judge(decision.act)
        if decision.kind is Kind.ACCEPTED:
            self.conduct.answers.append(said(before, shown.event))
        self.crew.told(before, shown.event, decision)
        # A step come back to by a correction has had its act: doing it again is nothing new.
        if decision.kind is Kind.TAKEN_BACK:
            self._done_before = shown.state.step
        elif before.step != shown.state.step:
            self._done_before = -1
        step = shown.prepared.plan.steps[shown.state.step]
        arrived = before.step != shown.state.step or before.phase in {Phase.CONFIRMING, Phase.LOOKING}
        if shown.state.phase is Phase.ASKING and arrived and step.act is not None and decision.kind is not Kind.REFUSED:
            self._judge(step.act)

    def _judge(self, act: str) -> None:
        own = self.prepared.plan.steps[self.state.step].act == act
        done = own and (self.crew.worked(self.state) or self._done_before == self.state.step)
        if self.conduct.honest and not done:  # an act announced after it was done is judged by its own marks
            self.conduct.unsafe += broken(self.prepared.plan, self.crew.truth, act)

    # -- what a driver does ---------------------------------------------------------------------
    def _may(self, how_often: float) -> bool:
        return self.chance.random() < how_often

    def _silence(self) -> Signal:
        step = min(self._quiet_ms, self.prepared.plan.ask_again_ms)
        self.clocks.advance(step)
        self._quiet_ms -= step
        return Signal.NOTHING

    def _holding(self, live: Live) -> Hearing | Signal:
        if self._may(self.manner.corrects):
            return self.mouth.phrase(commands.CORRECTION, live)
        self.clocks.advance(self.chance.choice((1_000, 5_000)))
        return Signal.NOTHING

    def _speak(self, live: Live) -> Hearing | Signal:
        manner, state = self.manner, self.state
        aside = self._aside(live)
        if aside is not None:
            return aside
        if state.phase is Phase.WAITING:
            long = self.prepared.plan.long_stand_by_ms
            self.clocks.advance(self.chance.choice((4_000, 20_000, long + 1_000)))
        skips = self._skips(state)
        if not skips:
            self.crew.work(state)
        self._walk(state)
        if self._may(self.mouth.mishearing()):
            return self.mouth.unheard()
        event = self._answer(state, skips=skips)
        if isinstance(event, Measured):
            return self.mouth.number(event, live)
        assert isinstance(event, Heard)  # noqa: S101 - the crew says nothing else once a run has begun
        who = event.who
        if live.mate and self._may(manner.wrong_voice):
            who = Role.DRIVER if who is Role.MATE else Role.MATE
        return self.mouth.phrase(event.phrase, live, who)

    def _aside(self, live: Live) -> Hearing | Signal | None:
        """What is said or left unsaid besides the answer; None for nothing of the kind."""
        manner = self.manner
        if self._may(manner.silent):
            self._quiet_ms = self.prepared.plan.ask_again_ms * self.chance.choice((1, 1, 2, 5, 40))
            return self._silence()
        for how_often, phrases in (
            (manner.stops, (commands.STOP,)),
            (manner.asks, (commands.SAY_AGAIN, commands.WHERE, commands.HELP, *commands.SETTINGS)),
            (manner.stands_by, (commands.STAND_BY,)),
            (manner.corrects, (commands.CORRECTION,)),
            (manner.gives_up, (commands.GIVE_UP, commands.START_OVER)),
        ):
            phrase = self.chance.choice(phrases)
            if self._may(how_often) and phrase in live.phrases:
                self.clocks.advance(self._breath())
                return self.mouth.phrase(phrase, live)
        return self._announcement(live)

    def _announcement(self, live: Live) -> Hearing | None:
        plan, state = self.prepared.plan, self.state
        if state.phase is not Phase.ASKING:
            return None
        if self._may(self.manner.too_early):
            act = self.chance.choice(sorted(plan.acts))
            if self._may(self.manner.defies):
                self.conduct.defied += 1
                self.crew.truth = acts.act(self.crew.truth, act)
        elif self._own_due(state) and self._may(self.manner.announces):
            act = plan.steps[state.step].act or ""
            self._announced = True
        else:
            self._announced = False
            return None
        self.clocks.advance(self._breath())
        return self.mouth.phrase(plan.acts[act].announce, live)

    def _own_due(self, state: State) -> bool:
        """Whether the step has an act that is neither done nor announced yet."""
        own = self.prepared.plan.steps[state.step].act
        return own is not None and not self._announced and not self.crew.worked(state)

    def _skips(self, state: State) -> bool:
        """Whether this step's work is left out; decided once for each asking."""
        key = (state.step, state.look, state.phase, state.held)
        if state.phase not in {Phase.ASKING, Phase.LOOKING}:
            return False
        if key == self._skipped:
            return True
        if self._may(self.manner.skips):
            self._skipped = key
            self.conduct.skips += 1
            return True
        self._skipped = ()
        return False

    def _answer(self, state: State, *, skips: bool) -> Heard | Measured:
        event = self.crew.honest(state)
        asked = state.phase in {Phase.ASKING, Phase.LOOKING}
        phrases = tuple(current(self.prepared.plan, state).answers)
        if skips and asked and phrases and isinstance(event, Heard):
            event = Heard(phrases[0], event.who)  # the answer that lets the run go on
        if asked and self._may(self.manner.lies):
            event = self._lie(state, event, phrases)
        if isinstance(event, Tick):
            event = Heard(commands.SAY_AGAIN)
        assert isinstance(event, Heard | Measured)  # noqa: S101 - as the crew promises
        return event

    def _lie(self, state: State, event: object, phrases: Sequence[str]) -> Heard | Measured:
        self.conduct.lies += 1
        if isinstance(event, Measured):
            factor = self.chance.choice((Decimal("0.5"), Decimal("2"), Decimal(10)))
            return Measured(event.value * factor, event.unit, event.who)
        who = Role(current(self.prepared.plan, state).who)
        if phrases:
            return Heard(self.chance.choice(phrases), who)
        return event if isinstance(event, Heard) else Heard(commands.SAY_AGAIN)

    # -- how long it takes and how it is heard ----------------------------------------------------
    def _breath(self) -> int:
        return self.chance.randrange(700, 2_500)

    def _walk(self, state: State) -> None:
        """Let the time pass that a person needs: seconds in the cab, a walk outside it."""
        if state.phase is Phase.CONFIRMING:
            self.clocks.advance(self._breath())
            return
        step = current(self.prepared.plan, state)
        facts = {self.prepared.plan.fact_names[index] for one in step.answers.values() for index, _ in one.sets}
        longest = 6_000 if facts and facts <= IN_CAB else 45_000
        self.clocks.advance(round(self.manner.pace * self.chance.uniform(longest / 6, longest)) + self._breath())
