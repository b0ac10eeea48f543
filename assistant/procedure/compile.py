"""From files to a plan: takes what applies, checks every reference, reports all faults."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from assistant.errors import FileFaults
from assistant.procedure.load import Files
from assistant.procedure.model import Answer, Limit, Look, Outcome, ReadingDue, Step
from assistant.procedure.plan import (
    DONE,
    SPECIAL,
    Changes,
    Plan,
    PlanAct,
    PlanAnswer,
    PlanHold,
    PlanLimit,
    PlanReading,
    PlanRule,
    PlanStep,
)
from assistant.procedure.setting import Setting


class Compiler(Setting):
    """Resolves steps, looks and acts; use ``compile_plan``."""

    # -- steps ----------------------------------------------------------------------------------
    def ordered(self) -> list[Step]:
        """The steps that this rig, site and crew have, in the site's order of blocks."""
        procedure, site = self.files.procedure, self.files.site
        used = {step.block for step in procedure.step}
        site_path = str(self.files.paths.get(f"sites/{self.files.site_name}.toml", self.files.site_name))
        order = site.order.get(procedure.id, procedure.order)
        where = site_path if procedure.id in site.order else self.main
        for block in order:
            if block not in used:
                self.fault(f"names block {block!r}, in which no step of {procedure.id} lies", "", "order", where)
            if order.count(block) > 1 and order.index(block) == len(order) - 1 - order[::-1].index(block):
                self.fault(f"names block {block!r} twice", "", "order", where)
        for block in sorted(used - set(order)):
            if not procedure.blocks.get(block) or not procedure.blocks[block].optional:
                self.fault(f"leaves out block {block!r}, which is not optional", "", "order", where)
        rank = {block: index for index, block in enumerate(order)}
        kept = [step for step in procedure.step if step.block in rank and self.applies(step.only, step.id)]
        return sorted(kept, key=lambda step: rank[step.block])

    def answers(
        self, given: Iterable[Answer], step: str, follows: int, index: Mapping[str, int], file: str = ""
    ) -> dict[str, PlanAnswer]:
        """Resolve the answers of a step or look."""
        out: dict[str, PlanAnswer] = {}
        for answer in given:
            if not self.applies(answer.only, step):
                continue
            if answer.phrase in out:
                self.fault(f"takes the phrase {answer.phrase!r} twice", step, "answer", file)
            out[answer.phrase] = PlanAnswer(
                phrase=answer.phrase,
                sets=self.changes(answer.sets, step, "answer.sets", file),
                next=self.target(answer.next, step, follows, index),
                critical=answer.critical,
            )
        return out

    def target(self, name: str | None, step: str, follows: int, index: Mapping[str, int]) -> int:
        """Resolve where an answer leads."""
        if name is None:
            return follows
        if name in SPECIAL:
            return SPECIAL[name]
        if name in index:
            return index[name]
        known = {one.id for one in self.files.procedure.step}
        if name in known:
            self.fault(f"leads to {name!r}, which this rig, site or crew does not have", step, "next")
        else:
            self.fault(f"leads to {name!r}, which is no step", step, "next")
        return DONE

    def limit(self, name: str, step: str) -> PlanLimit | None:
        """Resolve a limit of the site."""
        given: Limit | None = self.files.site.limits.get(name)
        if given is None:
            self.fault(f"holds a reading against {name!r}; the site has no such limit", step, "reading.limit")
            return None
        low = (given.at_least, True) if given.at_least is not None else None
        if given.more_than is not None:
            low = (given.more_than, False)
        high = (given.at_most, True) if given.at_most is not None else None
        if given.less_than is not None:
            high = (given.less_than, False)
        path = str(self.files.paths.get(f"sites/{self.files.site_name}.toml", self.files.site_name))
        if low is None and high is None:
            self.fault("sets no bound; give at_least, more_than, at_most or less_than", "", f"limits.{name}", path)
        if low is not None and high is not None and low[0] > high[0]:
            self.fault("has its low bound above its high one", "", f"limits.{name}", path)
        if given.plausible[0] >= given.plausible[1]:
            self.fault("has an empty plausible band", "", f"limits.{name}", path)
        plausible = (given.plausible[0], given.plausible[1])
        return PlanLimit(name, given.kind, given.unit, low, high, plausible, given.source)

    def reading(
        self, due: ReadingDue | None, step: str, follows: int, index: Mapping[str, int], file: str = ""
    ) -> PlanReading | None:
        """Resolve the reading of a step or look."""
        if due is None:
            return None
        limit = self.limit(due.limit, step)

        def outcome(name: str, given: Outcome) -> PlanAnswer:
            sets = self.changes(given.sets, step, f"reading.{name}.sets", file)
            return PlanAnswer(f"<{name}>", sets, self.target(given.next, step, follows, index), True)

        if limit is None:
            return None
        return PlanReading(limit, outcome("within", due.within), outcome("outside", due.outside))

    def act(self, name: str | None, step: str) -> tuple[str | None, Changes]:
        """Resolve a step's act to its name and what it starts."""
        if name is None:
            return None, ()
        if name not in self.files.yard.acts:
            self.fault(f"asks for act {name!r}, which yard.toml does not have", step, "act")
            return None, ()
        return name, self.changes(self.files.yard.acts[name].starts, name, "starts", self.yard)

    def steps(self) -> tuple[PlanStep, ...]:
        """Resolve all steps."""
        ordered = self.ordered()
        ids = [step.id for step in self.files.procedure.step]
        for name in sorted({one for one in ids if ids.count(one) > 1} | (set(ids) & set(SPECIAL))):
            self.fault("is used twice, or is a reserved word; step ids are unique", name, "id")
        hazards = {hazard.id for hazard in self.files.yard.hazard}
        index = {step.id: position for position, step in enumerate(ordered)}
        main = [position for position, step in enumerate(ordered) if not step.aside]
        out = []
        for position, step in enumerate(ordered):
            follows = next((later for later in main if later > position), DONE)
            if step.hazard is not None and step.hazard not in hazards:
                self.fault(f"names hazard {step.hazard!r}, which yard.toml does not have", step.id, "hazard")
            if not step.answer and step.reading is None:
                self.fault("takes neither an answer nor a reading", step.id, "answer")
            act, starts = self.act(step.act, step.id)
            answers = self.answers(step.answer, step.id, follows, index)
            if step.aside and any(answer.next is None for answer in step.answer):
                self.fault("stands aside, so each of its answers must say where it leads", step.id, "next")
            out.append(PlanStep(
                id=step.id,
                number=sum(1 for one in main if one <= position),
                aside=step.aside,
                act=act,
                starts=starts,
                hazard=step.hazard,
                needs=self.condition(step.needs, step.id, "needs"),
                who=step.who,
                hold=PlanHold(step.hold.seconds * 1000, step.hold.begin) if step.hold else None,
                answers=answers,
                reading=self.reading(step.reading, step.id, follows, index),
            ))  # fmt: skip
        if not main:
            self.fault("has no step left for this rig, site and crew")
        return tuple(out)

    def looks(self) -> dict[int, PlanStep]:
        """Resolve the look of every fact that decays."""
        yard = self.files.yard
        out: dict[int, PlanStep] = {}
        for name, look in yard.look.items():
            if name not in yard.facts:
                self.fault("looks at a fact that does not exist", name, "look", self.yard)
                continue
            out[self.fact_index[name]] = self.look(name, look)
        for name, fact in yard.facts.items():
            if fact.secure is not None and fact.secure not in fact.values:
                self.fault(f"is secure at {fact.secure!r}, which is none of its values", name, "secure", self.yard)
            started = any(name in act.starts for act in yard.acts.values())
            if (fact.decays or started) and name not in yard.look:
                self.fault("can fall into doubt but has no look; add one", name, "look", self.yard)
        return out

    def look(self, name: str, look: Look) -> PlanStep:
        """Resolve one look: each answer, and each outcome of a reading, sets its own fact and leads nowhere."""
        index = self.fact_index[name]
        answers = self.answers(look.answer, name, DONE, {}, self.yard)
        reading = self.reading(look.reading, name, DONE, {}, self.yard)
        given: list[Answer | Outcome] = [*look.answer]
        if look.reading is not None:
            given += [look.reading.within, look.reading.outside]
            if self.files.yard.facts[name].secure != look.reading.within.sets.get(name):
                self.fault("is looked at by a reading, so it must be secure at what that sets within its limit",
                           name, "secure", self.yard)  # fmt: skip
            if look.answer:
                self.fault("takes phrases beside its reading; one of them is enough", name, "look.answer", self.yard)
        for one in given:
            if set(one.sets) != {name} or one.next is not None:
                self.fault("a look's answer sets its own fact and nothing else", name, "look.answer", self.yard)
        missing = set(self.files.yard.facts[name].values) - {one.sets.get(name) for one in given}
        if missing:
            self.fault(f"has no answer for {', '.join(sorted(missing))}", name, "look.answer", self.yard)
        act, _ = self.act(look.act, name)
        return PlanStep(name, 0, True, act, (), look.hazard, (), "driver", None, answers, reading, look=index)

    def acts(self) -> dict[str, PlanAct]:
        """Resolve acts with the rules that may refuse them."""
        yard = self.files.yard
        rules: dict[str, list[PlanRule]] = {name: [] for name in yard.acts}
        seen: set[str] = set()
        for rule in yard.never:
            if rule.id in seen:
                self.fault("is used twice; rule ids are unique", rule.id, "never.id", self.yard)
            seen.add(rule.id)
            if rule.act not in yard.acts:
                self.fault(f"refuses {rule.act!r}, which is no act", rule.id, "never.act", self.yard)
                continue
            when = self.condition(rule.when, rule.id, "never.when", self.yard)
            rules[rule.act].append(PlanRule(rule.id, rule.act, when, rule.signal, rule.source))
        return {
            name: PlanAct(
                name, act.announce, self.changes(act.starts, name, "starts", self.yard), act.anytime, tuple(rules[name])
            )
            for name, act in yard.acts.items()
        }


def can_be_known(steps: Iterable[PlanStep]) -> frozenset[int]:
    """Return the positions of the facts that a plan can come to know: no other can fall into doubt.

    A look that is never come to would only tell two sites' plans apart by a limit that neither reads.
    """
    changes: list[Changes] = []
    for step in steps:
        changes += [step.starts, *(answer.sets for answer in step.answers.values())]
        changes += [step.reading.within.sets, step.reading.outside.sets] if step.reading is not None else []
    return frozenset(index for change in changes for index, _ in change)


def compile_plan(files: Files, crew: str = "alone") -> Plan:
    """Resolve one run; raises FileFaults with every fault found.

    InputError where the procedure as a whole is not for this rig, site or crew.
    """
    work = Compiler(files, crew)
    work.check_setting()
    work.check_only()
    steps, looks, acts = work.steps(), work.looks(), work.acts()
    done = work.condition(files.procedure.done.needs, "", "done.needs")
    announcements: dict[str, PlanAct] = {}
    for act in acts.values():
        if act.announce in announcements:
            work.fault(f"{act.announce!r} announces two acts", act.id, "announce", work.yard)
        announcements[act.announce] = act
    if work.faults:
        raise FileFaults(list(dict.fromkeys(work.faults)))
    yard, known = files.yard, can_be_known(steps)
    return Plan(
        procedure=files.procedure.id,
        rig=files.rig_name,
        site=files.site_name,
        crew=crew,
        lang=files.lang,
        fact_names=work.fact_names,
        fact_values=tuple(tuple(fact.values) for fact in yard.facts.values()),
        steps=steps,
        count=sum(1 for step in steps if not step.aside),
        looks={index: looks[index] for index in sorted(looks) if index in known},
        secure={index: fact.secure for index, fact in enumerate(yard.facts.values()) if fact.secure is not None},
        decaying=tuple(index for index, fact in enumerate(yard.facts.values()) if fact.decays),
        acts=acts,
        by_announcement=announcements,
        done_needs=done,
        claim=files.procedure.done.claim,
        ask_again_ms=files.site.pace.ask_again * 1000,
        long_stand_by_ms=files.site.pace.long_stand_by * 1000,
        hazard_signal={hazard.id: hazard.signal for hazard in yard.hazard},
        hashes=dict(files.hashes),
    )
