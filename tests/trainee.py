"""A trainee at the keyboard: what a careful, or a hasty, one types in a guided run in the classroom yard."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.engine.engine import Engine
from assistant.engine.events import Heard, Measured, Tick
from assistant.engine.moves import current
from assistant.engine.state import Phase
from assistant.phrases.numbers import say_reading
from assistant.practice.crew import Crew
from assistant.practice.looks import THING
from assistant.practice.truth import Truth
from assistant.practice.words import LOOK, yard_words
from assistant.prepare import Prepared

MOST = 1_000


def careful_lines(ready: Prepared, truth: Truth) -> Iterator[str]:
    """Yield what a careful trainee types: does, looks, reads and answers with what is so."""
    words = yard_words("en")
    engine, crew = Engine(ready.plan), Crew(ready.plan, truth)
    state, now = engine.initial(), 0
    for _ in range(MOST):
        if state.phase is Phase.OVER:
            return
        step = current(ready.plan, state)
        if state.phase in {Phase.ASKING, Phase.LOOKING} and not crew.worked(state):
            yield "do it"
            crew.work(state)
        event = crew.honest(state)
        if isinstance(event, Tick) and step.hold is not None:
            yield f"#wait {step.hold.ms // 1000}"
            crew.wait(step.hold.ms)
            now += step.hold.ms
        elif isinstance(event, Measured):
            yield "take the reading"
            yield say_reading(event.value, event.unit)
        elif isinstance(event, Heard):
            thing = THING.get(event.phrase, "")
            if state.phase in {Phase.ASKING, Phase.LOOKING} and thing:
                yield words.phrases[LOOK + thing][0]
            yield ready.wording.says(event.phrase)
        now += 1
        decision = engine.decide(state, event, now)
        crew.told(state, event, decision)
        state = decision.state
