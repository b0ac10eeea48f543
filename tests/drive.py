"""A run driven by hand, for tests: faultlessly to a step, then as the test likes."""

from __future__ import annotations

from assistant.engine.engine import Engine
from assistant.engine.events import Begin, Event, Heard
from assistant.engine.guide import reply
from assistant.engine.state import Decision, State
from assistant.prepare import Prepared


class Drive:
    """Drives one run by hand: faultlessly to a step, then as the test likes."""

    def __init__(self, prepared: Prepared) -> None:
        self.plan = prepared.plan
        self.engine = Engine(prepared.plan)
        self.state: State = self.engine.initial()
        self.now = 0
        self.last: Decision = self.put(Begin())

    def put(self, event: Event, after_ms: int = 1000) -> Decision:
        """Put one event in, so many milliseconds later."""
        self.now += after_ms
        self.last = self.engine.decide(self.state, event, self.now)
        self.state = self.last.state
        return self.last

    def say(self, phrase: str) -> Decision:
        """Say one phrase."""
        return self.put(Heard(phrase))

    def to(self, step: str) -> Drive:
        """Go on faultlessly until that step is asked."""
        for _ in range(400):
            if self.step == step and self.state.phase == "asking":
                return self
            told = reply(self.plan, self.state)
            self.put(told.event, 1000 + told.wait_ms)
        raise AssertionError(f"{step} is never asked on the good path")

    @property
    def step(self) -> str:
        """The id of the step asked now."""
        return self.plan.steps[self.state.step].id

    def fact(self, name: str) -> str:
        """The value of a fact on arrival at this step."""
        return self.state.facts[self.plan.fact_names.index(name)]

