"""What the proofs of many runs never came to: steps, answers, looks and rules that serve nobody."""

from __future__ import annotations

from collections.abc import Iterator

from assistant.errors import Fault
from assistant.procedure.load import Files, Library, load_files
from assistant.procedure.model import Yard
from assistant.procedure.plan import Plan, PlanStep
from assistant.proof.checks import Finding, Used
from assistant.proof.library import Result, plan_of

WITHIN, OUTSIDE = "<within>", "<outside>"


def takes(step: PlanStep) -> list[str]:
    """Return the answers and outcomes of a step."""
    return [*step.answers, *((WITHIN, OUTSIDE) if step.reading else ())]


def joined(results: list[Result]) -> Used:
    """Return what any of the runs used."""
    used = Used()
    for result in results:
        used.add(result.used)
    return used


def by_procedure(library: Library, results: list[Result], lang: str) -> Iterator[tuple[Files, list[Plan], Used]]:
    """Yield the files, the proven plans and what was used, for each procedure."""
    for name in dict.fromkeys(result.run.procedure for result in results):
        mine = [result for result in results if result.run.procedure == name]
        found = [pair for pair in (plan_of(library, result.run, lang) for result in mine) if pair is not None]
        yield found[0][0], [plan for _, plan in found], joined(mine)


def unused(files: Files, plans: list[Plan], used: Used) -> Iterator[Fault]:
    """Yield the steps and answers of one procedure that none of ``plans`` ever comes to."""
    file = str(files.paths[f"{files.procedure.id}/procedure.toml"])
    for step in (step for plan in plans for step in plan.steps):
        if step.id not in used.steps:
            yield Fault(file, "is never come to", step.id, "id")
            continue
        for phrase in takes(step):
            if (step.id, phrase) not in used.answers:
                yield Fault(file, f"takes {phrase}, which never counts", step.id, "answer")


def homeless(files: Files, plans: list[Plan]) -> Iterator[Fault]:
    """Yield the steps and answers of a procedure that no rig, site and crew has."""
    file = str(files.paths[f"{files.procedure.id}/procedure.toml"])
    kept = {step.id for plan in plans for step in plan.steps}
    taken = {(step.id, phrase) for plan in plans for step in plan.steps for phrase in step.answers}
    for step in files.procedure.step:
        if step.id not in kept:
            yield Fault(file, "is for no rig, site and crew there is", step.id, "only")
            continue
        for answer in step.answer:
            if (step.id, answer.phrase) not in taken:
                yield Fault(file, f"takes {answer.phrase} on no rig, site and crew there is", step.id, "answer")


def idle(yard: Yard, file: str, used: Used) -> Iterator[Fault]:
    """Yield rules that never refuse and looks whose answers never count, in any procedure.

    A rule refuses where it is the one the engine names: a rule that always stands behind another
    one would be missed by nobody. A look that nothing ever comes to is there because the reading of
    the files asks for it wherever a fact can fall into doubt; only half-used looks are told.
    """
    for rule in yard.never:
        if rule.id not in used.rules:
            yield Fault(file, "never refuses anything in any procedure", rule.id, "never")
    for name, look in yard.look.items():
        given = [*(answer.phrase for answer in look.answer), *((WITHIN, OUTSIDE) if look.reading else ())]
        idle_answers = [phrase for phrase in given if (name, phrase) not in used.answers]
        if len(idle_answers) < len(given):
            for phrase in idle_answers:
                yield Fault(file, f"takes {phrase}, which never counts in any procedure", name, "look.answer")


def unused_in(library: Library, results: list[Result], lang: str) -> list[Finding]:
    """Return what no run of its procedure, among those proven, ever comes to."""
    found = (fault for part in by_procedure(library, results, lang) for fault in unused(*part))
    return [Finding(fault) for fault in dict.fromkeys(found)]


def idle_in_library(library: Library, results: list[Result], lang: str) -> list[Finding]:
    """Return what a whole library never uses; ``results`` must be those of every run there is."""
    faults: list[Fault] = []
    for files, plans, _ in by_procedure(library, results, lang):
        faults += homeless(files, plans)
    if results:
        run = results[0].run
        files = load_files(library, run.procedure, run.rig, run.site, lang)
        faults += idle(files.yard, str(files.paths["yard.toml"]), joined(results))
    return [Finding(fault) for fault in dict.fromkeys(faults)]
