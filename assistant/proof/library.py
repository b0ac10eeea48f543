"""Proves whole libraries: every procedure on every rig, site and crew, on all cores.

Runs that are the same plan under another name (a rig whose features the procedure never asks for)
are explored once.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import product
from pathlib import Path
from time import perf_counter

from assistant.errors import Fault, InputError, NotMeantError
from assistant.procedure.compile import compile_plan
from assistant.procedure.load import Files, Library, load_files
from assistant.procedure.plan import Plan
from assistant.proof.checks import Finding, Used, check


@dataclass(frozen=True, slots=True)
class Run:
    """Which run: procedure, rig, site, crew."""

    procedure: str
    rig: str
    site: str
    crew: str

    def __str__(self) -> str:
        return f"{self.procedure} / {self.rig} / {self.site} / {self.crew}"


@dataclass(slots=True)
class Result:
    """What proving one run came to. ``same`` are the runs that come to the same plan."""

    run: Run
    steps: int = 0
    states: int = 0
    edges: int = 0
    decisions: int = 0
    pairs: int = 0
    seconds: float = 0.0
    findings: list[Finding] = field(default_factory=list)
    used: Used = field(default_factory=Used)
    same: list[Run] = field(default_factory=list)


def settings(names: Iterable[str], rigs: Iterable[str], sites: Iterable[str], crews: Iterable[str]) -> list[Run]:
    """Return every run of the named parts."""
    return [Run(*parts) for parts in product(names, rigs, sites, crews)]


def plan_of(library: Library, run: Run, lang: str) -> tuple[Files, Plan] | None:
    """Return files and plan of a run; None where the procedure says it is not for such a rig or site."""
    files = load_files(library, run.procedure, run.rig, run.site, lang)
    try:
        return files, compile_plan(files, run.crew)
    except NotMeantError:
        return None


def likeness(plan: Plan) -> str:
    """Return what two plans share exactly when the engine cannot tell them apart.

    The crew is not part of it: the mate's plan, with two voices, covers the one of a driver alone.
    """
    bare = replace(plan, rig="", site="", crew="", lang="", hashes={})
    return hashlib.sha256(repr(bare).encode()).hexdigest()


def prove_run(library: Library, run: Run, lang: str) -> Result:
    """Explore and check one run."""
    found = plan_of(library, run, lang)
    if found is None:
        raise InputError(f"{run} is not a run this procedure is for.")
    begun = perf_counter()
    proof = check(*found)
    space = proof.space
    return Result(
        run, len(found[1].steps), len(space.nodes), space.edges, space.decisions, len(space.pairs),
        perf_counter() - begun, proof.findings, proof.used,
    )  # fmt: skip


def prove_all(
    library: Library, runs: list[Run], lang: str, tell: Callable[[Result], None] = lambda _: None
) -> list[Result]:
    """Prove many runs on all cores; ``tell`` is called as each is done. Order is that of ``runs``."""
    alike: dict[str, list[Run]] = {}
    for run in runs:
        found = plan_of(library, run, lang)
        if found is not None:
            alike.setdefault(likeness(found[1]), []).append(run)
    groups = [sorted(group, key=lambda run: run.crew != "mate") for group in alike.values()]
    if len(groups) == 1:
        results = {groups[0][0]: prove_run(library, groups[0][0], lang)}
        tell(next(iter(results.values())))
    else:
        results = dict(_pooled(library, [group[0] for group in groups], lang, tell))
    for group in groups:
        results[group[0]].same = group[1:]
    return [results[group[0]] for group in groups]


def _pooled(
    library: Library, runs: list[Run], lang: str, tell: Callable[[Result], None]
) -> Iterator[tuple[Run, Result]]:
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=min(os.cpu_count() or 1, len(runs) or 1), mp_context=context) as pool:
        waiting = {pool.submit(prove_run, library, run, lang): run for run in runs}
        for done in as_completed(waiting):
            result = done.result()
            tell(result)
            yield waiting[done], result


@cache
def _tools_hash() -> str:
    """Return one hash of the code a proof rests on: engine, proof and the reading of plans."""
    package = Path(__file__).resolve().parent.parent
    whole = hashlib.sha256()
    for folder in ("engine", "procedure", "proof", "phrases"):
        for path in sorted((package / folder).glob("*.py")):
            whole.update(path.read_bytes())
    return whole.hexdigest()


def proven(files: Files, plan: Plan, cache_folder: Path) -> list[Fault]:
    """Return the faults of one run's proof, kept in ``cache_folder`` by the hashes of files and code.

    A damaged or unreadable note is proved anew; a note that cannot be written costs only time.
    """
    key = json.dumps([_tools_hash(), sorted(plan.hashes.items()), plan.rig, plan.site, plan.crew])
    path = cache_folder / f"proof-{hashlib.sha256(key.encode()).hexdigest()}.json"
    try:
        return [Fault(**row) for row in json.loads(path.read_text(encoding="utf-8"))]
    except (OSError, ValueError, TypeError):
        pass
    faults = [finding.fault for finding in check(files, plan).findings]
    rows = [{"file": one.file, "what": one.what, "step": one.step, "field": one.field} for one in faults]
    try:
        cache_folder.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(f".{os.getpid()}")
        fresh.write_text(json.dumps(rows, ensure_ascii=False), encoding="utf-8")
        fresh.replace(path)
    except OSError:
        pass
    return faults
