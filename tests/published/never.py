"""What the orders that must never happen are asked with: a rig on which all was seen, and the engine's answer.

The tables here and in the tests beside are written from published texts and not from the shipped rules.
"""

from __future__ import annotations

from collections.abc import Iterator

from assistant.engine import commands
from assistant.engine.events import Heard
from assistant.engine.state import Kind, Line, Phase, State
from assistant.procedure.model import UNKNOWN
from assistant.procedure.plan import Plan, PlanStep

from .conftest import announced, engine_of, one_plan_each, plans

SAFE = {
    "tractor-brake": "on", "gear": "neutral", "trailer-brake": "on", "chocks": "placed", "engine": "off",
    "people": "clear", "ground": "firm", "lock": "open", "line-up": "straight", "height": "right", "pin": "in line",
    "contact": "touching", "lines": "connected", "lines-order": "right", "air": "charged", "cord": "connected",
    "tug": "held", "release": "home", "gap": "none", "jaw": "closed", "legs": "up", "crank": "stowed",
    "supports": "holding", "air-test": "passed", "lights": "burning", "rear-air": "proven", "slider": "locked",
    "dolly": "out", "pintle": "latched",
}  # fmt: skip
"""A rig on which everything was seen and is as it must be; single acts need other values (``FOR``)."""

FOR = {
    "pull-release": {"legs": "down", "lines": "off", "cord": "off"},
    "pull-forward": {"legs": "down", "lines": "off", "cord": "off"},
    "draw-out": {"legs": "down", "lines": "off", "cord": "off"},
    "pull-clear": {"legs": "down", "lines": "off", "cord": "off", "pin": "part way"},
    "drive-off": {"chocks": "away", "pin": "in jaw"},
    "raise-legs": {"pin": "in jaw"},
    "lift-with-legs": {"pin": "out of line"},
}
MOVES_BACK = ("line-up", "back-under", "back-in", "ease-back")
MOVES = (*MOVES_BACK, "tug", "pull-forward", "draw-out", "pull-clear", "reposition", "slide", "release-tractor-brake")


def refuses(act: str, fact: str, *dangerous: str) -> None:
    """Fail unless every plan refuses ``act`` by a never rule while ``fact`` is dangerous or unknown, and only then."""
    for plan in one_plan_each():
        facts = {**SAFE, **FOR.get(act, {})}
        safe = announced(plan, act, facts)
        assert safe.reason != "never", (plan.procedure, act, safe.rule)
        for value in (*dangerous, UNKNOWN):
            decision = announced(plan, act, {**facts, fact: value})
            assert (decision.kind, decision.reason) == (Kind.REFUSED, "never"), (plan.procedure, act, fact, value)
            assert decision.lines[0] == Line("never", decision.rule)


def asks(act: str) -> Iterator[tuple[Plan, PlanStep]]:
    """Yield every step of every plan that asks for ``act``; there is at least one."""
    found = [(plan, step) for plan in plans() for step in plan.steps if step.act == act]
    assert found, f"no shipped procedure asks for {act}"
    yield from found


def says_before(plan: Plan, step: PlanStep, hazard: str) -> bool:
    """Whether the engine says the hazard first and the step right after it."""
    before = next((n for n, other in enumerate(plan.steps) if other is step))
    lines = engine_of(plan).decide(State(Phase.ASKING, before, plan.blank), Heard(commands.SAY_AGAIN), 0).lines
    return lines[:2] == (Line("hazard", hazard), Line("step", step.id))
