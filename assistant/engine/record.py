"""Decisions as the log holds them: small, canonical, the same every time they are made again."""

from __future__ import annotations

from assistant.engine.state import Decision, Phase, State
from assistant.procedure.plan import Plan


def decision_to_data(plan: Plan, before: State, decision: Decision) -> dict[str, object]:
    """Return the decision as JSON: what it was, why, where the run stands now, what changed.

    ``facts`` holds every fact whose value changed, with its new value; ``lines`` which texts were
    to be said, by id, so that a translation or a better wording does not change the decision.
    """
    after = decision.state
    facts = {
        name: new
        for name, old, new in zip(plan.fact_names, before.facts, after.facts, strict=True)
        if old != new
    }
    step = "" if after.phase in {Phase.READY, Phase.OVER} else plan.steps[after.step].id
    return {
        "kind": decision.kind.value,
        "reason": decision.reason,
        "rule": decision.rule,
        "act": decision.act,
        "phase": after.phase.value,
        "step": step,
        "outcome": after.outcome.value,
        "facts": facts,
        "looks": [plan.fact_names[stale.fact] for stale in after.stale[after.look :]],
        "lines": [[line.kind, line.key, dict(line.places)] for line in decision.lines],
    }
