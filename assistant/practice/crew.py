"""The people of a run in the classroom yard: they do what a step asks, look, and know the true answer.

`Crew` holds the rig's truth beside a run and is told of every decision. Nothing here draws chances or
reads a clock; whether an answer is honest is for who asks.
"""

from __future__ import annotations

from collections import Counter

from assistant.engine import commands
from assistant.engine.events import Begin, Event, Heard, Measured, Tick
from assistant.engine.moves import current
from assistant.engine.state import Decision, Kind, Outcome, Phase, State
from assistant.phrases.live import Role
from assistant.practice import acts, deeds, readings, replies
from assistant.practice.passing import pass_time
from assistant.practice.truth import Truth
from assistant.procedure.plan import Plan, PlanStep

DRIVE_OFF = "drive-off"
"""The one act that is done after its step's answer, "rig is fit for the road", and not before."""

ENOUGH = 4
"""How often a careful driver does the same step anew, or starts anew, before giving the job up."""


class Crew:
    """Who works with the rig in one run."""

    def __init__(self, plan: Plan, truth: Truth) -> None:
        self.plan = plan
        self._truth = truth
        self._due_ms = 0
        self._worked: tuple[object, ...] = ()
        self._turn = 0
        self._visits: Counter[int] = Counter()
        self._restarts = 0

    @property
    def truth(self) -> Truth:
        """What is so now; time that has passed is worked out when somebody asks."""
        if self._due_ms:
            self._truth, self._due_ms = pass_time(self._truth, self._due_ms), 0
        return self._truth

    @truth.setter
    def truth(self, truth: Truth) -> None:
        self._truth, self._due_ms = truth, 0

    def wait(self, ms: int) -> None:
        """Let time pass in the yard."""
        self._due_ms += max(0, ms)

    def work(self, state: State) -> None:
        """Do what is asked now, once each time it is asked."""
        if self.worked(state) or state.phase not in {Phase.ASKING, Phase.LOOKING}:
            return
        self._worked = self._key(state)
        step = current(self.plan, state)
        if state.phase is Phase.LOOKING:
            self._look_again(step)
            return
        if step.hold is not None and not state.held:
            self._act(step)
            self.truth = deeds.deed(self.truth, step.hold.begin)
            return
        if step.hold is None:
            self._act(step)
        for phrase in list(step.answers)[:1]:
            self.truth = deeds.deed(self.truth, phrase)

    def worked(self, state: State) -> bool:
        """Whether what is asked now has been done."""
        return self._worked == self._key(state)

    def _key(self, state: State) -> tuple[object, ...]:
        return (self._turn, state.step, state.look if state.phase is Phase.LOOKING else -1, state.held)

    def _act(self, step: PlanStep) -> None:
        if step.act is not None and step.act != DRIVE_OFF:
            self.truth = acts.act(self.truth, step.act)

    def _look_again(self, step: PlanStep) -> None:
        """At a look only what must be secured is done; everything else is seen as it is."""
        if step.act is not None:
            self.truth = acts.act(self.truth, step.act)
        if step.look in self.plan.secure and step.answers:
            self.truth = deeds.deed(self.truth, next(iter(step.answers)))

    def honest(self, state: State) -> Event:
        """Return what somebody who has done the work, has looked and tells the truth says now."""
        step = current(self.plan, state)
        who = Role(step.who)
        match state.phase:
            case Phase.READY:
                return Begin()
            case Phase.CONFIRMING:
                return Heard(commands.RIGHT, who)
            case Phase.WAITING:
                return Heard(commands.GO_AHEAD)
            case Phase.STOPPED:
                return Heard(commands.CLEAR)
            case Phase.HOLDING | Phase.DEAF | Phase.OVER:
                return Tick()
        if step.hold is not None and not state.held:
            return Heard(step.hold.begin)
        if step.reading is not None:
            return self.reading(step)
        phrase = replies.truthful(self.truth, step.answers)
        tired = self._visits[state.step] > ENOUGH or self._restarts > ENOUGH
        if not phrase or tired:
            return Heard(commands.GIVE_UP)
        return Heard(phrase, who)

    def reading(self, step: PlanStep) -> Measured:
        """Take the reading that is due and return it in the yard's unit."""
        assert step.reading is not None  # noqa: S101 - only steps with a reading are read
        limit = step.reading.limit
        value, self.truth = readings.take(self.truth, limit.name)
        return Measured(readings.in_unit(value, limit.name, limit.unit), limit.unit, Role(step.who))

    def told(self, before: State, event: Event, decision: Decision) -> None:
        """Learn what a decision was: a step asked anew is worked on anew, trouble that was told is mended."""
        if decision.kind is Kind.ACCEPTED:
            phrase = said(before, event)
            if phrase:
                self.truth = deeds.mended(self.truth, phrase)
        moved = decision.kind in {
            Kind.BEGUN, Kind.RESUMED, Kind.ACCEPTED, Kind.FAILED, Kind.RESTARTED, Kind.TAKEN_BACK, Kind.WENT_ON,
            Kind.HEARING_BACK, Kind.HOLD_ENDED,
        }  # fmt: skip
        if moved:
            self._turn += 1
        if decision.kind is Kind.HOLD_BEGUN:
            self.truth = deeds.marked(self.truth)
        if decision.kind is Kind.HOLD_ENDED:
            self.truth = deeds.timed(self.truth)
        if decision.state.outcome is Outcome.DONE and self.plan.steps[before.step].act == DRIVE_OFF:
            self.truth = acts.act(self.truth, DRIVE_OFF)
        if decision.kind in {Kind.FAILED, Kind.RESTARTED}:
            self._restarts += 1
            self._visits.clear()
        elif decision.kind is Kind.ACCEPTED and decision.state.phase is Phase.ASKING:
            self._visits[decision.state.step] += 1


def said(before: State, event: Event) -> str:
    """Return the answer that counts with a decision taken in ``before``, or ""."""
    if before.pending is not None:
        return before.pending.phrase
    return event.phrase if isinstance(event, Heard) else ""
