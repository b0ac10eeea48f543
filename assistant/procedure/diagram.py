"""A procedure, and the phases of a run, as Mermaid diagrams: drawn from the tables, never by hand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from assistant.procedure.plan import DONE, FAIL, HALT, RESTART, Plan, PlanAnswer, PlanStep

ENDS = {DONE: "done", RESTART: "restart", FAIL: "fail", HALT: "halt"}
END_TEXTS = {"restart": "start again, nothing believed", "fail": "coupling failed: start again, nothing believed",
             "halt": "do not move: call for help"}  # fmt: skip


def node(name: str) -> str:
    """Return a Mermaid id for a step: its name must not collide with a word of the language."""
    return "s_" + re.sub(r"\W", "_", name)


def quoted(text: str) -> str:
    """Return a text as Mermaid takes it in a label."""
    return '"' + text.replace('"', "#quot;").replace("\n", "<br/>") + '"'


def flowchart(plan: Plan) -> str:
    """Return the procedure as a flowchart: steps, answers and where they lead, and what is refused.

    A critical answer has a thick arrow. Beside a step that asks for an act stand the never rules that
    can refuse it.
    """
    lines = ["flowchart TD"]
    lines += [f"  %% {plan.procedure}, rig {plan.rig}, site {plan.site}, crew {plan.crew}"]
    lines += [f"  {node(step.id)}[{quoted(_label(step))}]" for step in plan.steps]
    lines += [f"  {node(end)}([{quoted(END_TEXTS.get(end, plan.claim))}])" for end in ENDS.values()]
    for step in plan.steps:
        lines += _arrows(plan, step)
        lines += _refusals(plan, step)
    lines += ["  classDef refusal stroke-dasharray: 4 3;"]
    return "\n".join(lines) + "\n"


def _label(step: PlanStep) -> str:
    act = f"\nact: {step.act}" if step.act else ""
    hold = f"\nhold {step.hold.ms // 1000} s" if step.hold else ""
    return f"{step.id}{act}{hold}"


def _given(step: PlanStep) -> Iterator[tuple[str, PlanAnswer]]:
    yield from step.answers.items()
    if step.reading is not None:
        yield f"{step.reading.limit.name} within", step.reading.within
        yield f"{step.reading.limit.name} outside", step.reading.outside


def _arrows(plan: Plan, step: PlanStep) -> Iterable[str]:
    for phrase, given in _given(step):
        target = ENDS.get(given.next) or plan.steps[given.next].id
        arrow = "==>" if given.critical else "-->"
        yield f"  {node(step.id)} {arrow}|{quoted(phrase)}| {node(target)}"


def _refusals(plan: Plan, step: PlanStep) -> Iterable[str]:
    if step.act is None or not plan.acts[step.act].rules:
        return
    rules = [
        f"{rule.signal.upper()} {rule.id}: " + ", ".join(
            f"{plan.fact_names[index]} {' or '.join(sorted(values))}" for index, values in rule.when
        )
        for rule in plan.acts[step.act].rules
    ]  # fmt: skip
    name = node(f"{step.id}-refused")
    yield f"  {name}[/{quoted('refused while' + chr(10) + chr(10).join(rules))}/]:::refusal"
    yield f"  {name} -.- {node(step.id)}"


def phases(table: Iterable[tuple[str, Iterable[str], Iterable[str]]]) -> str:
    """Return the phases of a run as a state diagram, from the engine's table of moves."""
    arrows: dict[tuple[str, str], list[str]] = {}
    for trigger, sources, dests in table:
        for source in sources:
            for dest in dests:
                arrows.setdefault((str(source), str(dest)), []).append(trigger)
    lines = ["stateDiagram-v2", "  [*] --> ready", "  over --> [*]"]
    lines += [
        f"  {source} --> {dest}: {', '.join(dict.fromkeys(triggers))}"
        for (source, dest), triggers in arrows.items()
        if source != dest
    ]
    return "\n".join(lines) + "\n"
