"""A plan as a Promela model, so that a general-purpose model checker (spin) reads it a second time.

Written from the procedure's tables and from what the design says of phases, never from explored
states, and sharing no code with the engine: where the two differ, one of them is wrong.

The model has one process. Each of its choices is one thing that can happen; what an answer, an
interruption or a correction does is spelled out in Promela beneath it. Silence is a stand-by that
nobody asked for. Times are choices: a wait is long or it is short. A reading is a choice between
within and outside, where the limit and its plausible band leave both possible. Announced acts move
nothing and are left out. Every (step, facts) in which a step is asked goes through ``note_pair`` in
C, which spin calls on every transition it makes, so that none is missed by how states are stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from itertools import pairwise

from assistant.procedure.plan import (
    DONE,
    FAIL,
    HALT,
    RESTART,
    Changes,
    Condition,
    Plan,
    PlanAnswer,
    PlanReading,
    PlanStep,
)
from assistant.proof.promela_text import FIRST_ANSWER, HEAD, NONE, PAIRS_H, SESSION, TO_DONE


class Writer:
    """Writes one plan; use ``promela``."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.code = [{value: n + 1 for n, value in enumerate(values)} for values in plan.fact_values]
        for codes in self.code:
            codes["unknown"] = 0
        self.out: list[str] = []

    # -- conditions -----------------------------------------------------------------------------
    def value(self, index: int, value: str) -> int:
        """Return the number a value of a fact has in the model."""
        return self.code[index][value]

    def holds(self, condition: Condition) -> str:
        """Write "every fact named has one of the values named"."""
        parts = [
            "(" + " || ".join(f"f[{i}] == {self.value(i, v)}" for v in sorted(values)) + ")" for i, values in condition
        ]
        return " && ".join(parts) or "true"

    def begun(self, index: int) -> str:
        """Write the value a fact may have while looking: changed by the act that was broken off."""
        out = f"f[{index}]"
        for number, step in enumerate(self.plan.steps):
            for fact, value in step.starts:
                if fact == index:
                    out = f"(want[{index}] == 0 && step == {number} -> {self.value(index, value)} : {out})"
        return out

    def forbidden(self, act: str | None, *, looking: bool = False) -> str:
        """Write "some never rule forbids the act"; unknown is as bad as any value named."""
        rules = self.plan.acts[act].rules if act else ()

        def bad(index: int, values: frozenset[str]) -> str:
            name = self.begun(index) if looking else f"f[{index}]"
            codes = (0, *(self.value(index, value) for value in sorted(values)))
            return "(" + " || ".join(f"{name} == {code}" for code in codes) + ")"

        return " || ".join("(" + " && ".join(bad(i, v) for i, v in rule.when) + ")" for rule in rules) or "false"

    def sets(self, changes: Changes) -> str:
        """Write the assignments of some changes."""
        return " ".join(f"f[{index}] = {self.value(index, value)};" for index, value in changes)

    # -- moves ----------------------------------------------------------------------------------
    def arrivals(self) -> Iterator[str]:
        """Write, for each step, what coming to it does."""
        for number, step in enumerate(self.plan.steps):
            needs, forbidden = self.holds(step.needs), self.forbidden(step.act)
            here = f"phase == GO && at == {number}"
            yield f"{here} && !({needs}) -> fault_needs()"
            yield f"{here} && ({needs}) && ({forbidden}) -> fault_act()"
            yield f"{here} && ({needs}) && !({forbidden}) -> step = {number}; at = 0; ask() /* {step.id} */"
        done = self.holds(self.plan.done_needs)
        yield f"phase == GO && at == {TO_DONE} && ({done}) -> over()"
        yield f"phase == GO && at == {TO_DONE} && !({done}) -> fault_done()"

    def lead(self, target: int) -> str:
        """Write where an answer leads."""
        return {DONE: f"go({TO_DONE})", RESTART: "restart()", FAIL: "restart()", HALT: "over()"}.get(
            target, f"go({target})"
        )

    def take(self, step: PlanStep, given: PlanAnswer) -> str:
        """Write what an answer does that counts."""
        return f"keep_undo(); drop_begun(); {self.sets(step.starts)} {self.sets(given.sets)} {self.lead(given.next)}"

    def looks(self) -> Iterator[str]:
        """Write how facts are looked at one after the other, from fact number ``at`` on."""
        facts = list(self.plan.looks)
        for place, index in enumerate(facts):
            earlier = "".join(f" && (want[{k}] == 0 || {k} < at)" for k in facts[:place])
            here = f"phase == NEXT && want[{index}] != 0 && {index} >= at{earlier}"
            forbidden = self.forbidden(self.plan.looks[index].act, looking=True)
            yield f"{here} && ({forbidden}) -> restart()"
            yield f"{here} && !({forbidden}) -> phase = LOOK; look = {index}; at = 0"
        none = " && ".join(f"(want[{k}] == 0 || {k} < at)" for k in facts) or "true"
        yield (
            f"phase == NEXT && {none} -> look = {NONE}; c_code {{ memset(now.want, 0, FACTS); }}; "
            "at = step; phase = GO"
        )

    def breaks(self) -> Iterator[str]:
        """Write what an interruption and what a correction put in doubt."""
        plan = self.plan

        def wanted(index: int) -> str:
            secure = plan.secure.get(index)
            want = f"f[{index}]" if secure is None else str(self.value(index, secure))
            return f"if :: f[{index}] != 0 && want[{index}] == 0 -> want[{index}] = {want} :: else fi;"

        yield f"phase == BREAK -> {' '.join(wanted(index) for index in plan.decaying)} phase = DOUBT"
        forget = " ".join(f"if :: want[{i}] != 0 -> f[{i}] = 0 :: else fi;" for i in plan.looks)
        some = " || ".join(f"want[{index}] != 0" for index in plan.looks) or "false"
        begin = f"drop_undo(); drop_begun(); look = {NONE}; at = 0;"
        yield f"phase == DOUBT && ({some}) -> {begin} {forget} phase = NEXT"
        yield f"phase == DOUBT && !({some}) -> {begin} ask()"
        for number, step in enumerate(plan.steps):
            marks = " ".join(wanted(index) for index, _ in step.starts)
            yield (
                f"phase == ASK && can_undo && step == {number} -> step = undo_step; "
                f"c_code {{ memcpy(now.f, now.undo_f, FACTS); }}; {marks} phase = DOUBT"
            )

    # -- choices --------------------------------------------------------------------------------
    def choices(self) -> Iterator[str]:
        """Write everything that can happen."""
        number = FIRST_ANSWER
        for at, step in enumerate(self.plan.steps):
            open_now = f"phase == ASK && step == {at}"
            if step.hold is not None:
                yield f"{open_now} && !held -> phase = HOLD"
                open_now += " && held"
            for given, read_back in self.given(step):
                if read_back:
                    yield f"{open_now} -> pend = {number}; origin = ASK; phase = CONF"
                    yield f"phase == CONF && pend == {number} -> {self.take(step, given)}"
                    number += 1
                else:
                    yield f"{open_now} -> {self.take(step, given)}"
        for index, look in self.plan.looks.items():
            for given, read_back in self.given(look):
                ((_, seen),) = given.sets
                same = f"want[{index}] == {self.value(index, seen)}"
                back = "drop_begun(); phase = LOOK" if index in self.plan.secure else "restart()"
                seen_so = f"f[{index}] = {self.value(index, seen)}; drop_begun(); at = {index + 1}; phase = NEXT"
                judged = f"if :: {same} -> {seen_so} :: else -> {back} fi"
                if read_back:
                    yield f"phase == LOOK && look == {index} -> pend = {number}; origin = LOOK; phase = CONF"
                    yield f"phase == CONF && pend == {number} -> {judged}"
                    number += 1
                else:
                    yield f"phase == LOOK && look == {index} -> {judged}"
        yield from SESSION
        if number > NONE:
            raise ValueError(f"{self.plan.procedure} has too many answers for the model")

    def given(self, step: PlanStep) -> Iterator[tuple[PlanAnswer, bool]]:
        """Yield the answers and reading outcomes of a step, and whether each is read back first."""
        yield from ((answer, answer.critical) for answer in step.answers.values())
        if step.reading is not None:
            yield from ((outcome, True) for outcome in outcomes(step.reading))

    def write(self) -> str:
        """Return the whole model."""
        plan = self.plan
        title = f"{plan.procedure}, rig {plan.rig}, site {plan.site}, crew {plan.crew}"
        lines: list[str] = [HEAD.format(title=title, facts=len(plan.fact_names), none=NONE)]
        lines += ["active proctype one_run() {", "end: do"]
        every = (*self.arrivals(), *self.looks(), *self.breaks(), *self.choices())
        lines += (f"  :: d_step {{ {choice} }}" for choice in every)
        lines += ["  od", "}"]
        return "\n".join(lines) + "\n"


def outcomes(due: PlanReading) -> Iterable[PlanAnswer]:
    """Return the outcomes a plausible reading can have: a bound outside the plausible band is no bound."""
    limit, (least, most) = due.limit, due.limit.plausible
    inside: list[Decimal] = [least, most]
    inside += [side[0] for side in (limit.low, limit.high) if side is not None and least <= side[0] <= most]
    marks = sorted(inside)
    tried = [*marks, *((one + two) / 2 for one, two in pairwise(marks))]
    found = {limit.passes(value) for value in tried}
    return [outcome for passes, outcome in ((True, due.within), (False, due.outside)) if passes in found]


def pairs_h(plan: Plan) -> str:
    """Return the text of ``pairs.h``, which the model includes."""
    return f"#define FACTS {len(plan.fact_names)}\n{PAIRS_H.lstrip()}"


def promela(plan: Plan) -> str:
    """Return the plan as a Promela model."""
    return Writer(plan).write()
