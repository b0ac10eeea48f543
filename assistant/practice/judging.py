"""Whether what was allowed was safe by what is really so, and not only by what was believed. Pure."""

from __future__ import annotations

from assistant.practice.sights import fact
from assistant.practice.truth import Truth
from assistant.procedure.plan import Plan


def broken(plan: Plan, truth: Truth, act: str) -> tuple[str, ...]:
    """Return the ids of the never rules that doing ``act`` now would break by the rig's true state.

    The air in an old trailer's own tank leaks away however often its brake is looked at; that is why it
    is chocked (US model commercial driver licence manual 6.4.2 step 3). So there its chocks count.
    """
    names = plan.fact_names
    return tuple(
        rule.id
        for rule in plan.acts[act].rules
        if all(_so(truth, names[index]) in values for index, values in rule.when)
    )


def _so(truth: Truth, name: str) -> str:
    if name == "trailer-brake" and not truth.fit.spring_brakes and truth.chocks:
        return "on"
    return fact(truth, name)
