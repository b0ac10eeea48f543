"""Whether what was allowed was safe by what is really so, and not only by what was believed. Pure."""

from __future__ import annotations

from assistant.practice.sights import fact
from assistant.practice.truth import Truth
from assistant.procedure.plan import Plan


def broken(plan: Plan, truth: Truth, act: str) -> tuple[str, ...]:
    """Return the ids of the never rules that doing ``act`` now would break by the rig's true state."""
    names = plan.fact_names
    return tuple(
        rule.id
        for rule in plan.acts[act].rules
        if all(fact(truth, names[index]) in values for index, values in rule.when)
    )
