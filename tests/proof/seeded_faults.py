"""Takes single safety marks out of every shipped file, one at a time, and prints which go unnoticed.

Run: ``python tests/proof/seeded_faults.py [--limit N] [--only FILE] [--jobs N] [--list]``. A mark is a never rule, a value
of one, a need of a step, a need of a claim, a critical flag, a decays or secure flag, or a fact that
an act puts in doubt. Whoever must notice: the reading of the files, lint's checks, the published
tables in ``tests/published``, or the proof of the procedures that the file belongs to. The cheap ones
are asked first. Exit status 1 when a mark can go without anybody noticing.
"""

from __future__ import annotations

import argparse
import copy
import multiprocessing
import os
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import tomllib  # noqa: E402

import tests.published.conftest as published  # noqa: E402
import tests.published.test_never_coupling as coupling  # noqa: E402
import tests.published.test_never_parting as parting  # noqa: E402
import tests.published.test_never_told as told  # noqa: E402
import tests.published.test_orders as orders  # noqa: E402
from assistant.errors import FileFaults, InputError  # noqa: E402
from assistant.prepare import Prepared, every_setting, grammars, prepare  # noqa: E402
from assistant.procedure.load import Library  # noqa: E402
from assistant.procedure.plan import Plan  # noqa: E402
from assistant.proof.checks import check  # noqa: E402
from assistant.proof.library import likeness  # noqa: E402
from tests.published import never  # noqa: E402
from tests.toml_text import written  # noqa: E402

SHIPPED = Path(tempfile.mkdtemp(prefix="hitchcall-seeds-")) / "procedures"
"""The library as it stood when the script began: nobody's edits come in between."""

TABLES = (coupling, parting, told, orders)
"""The published tables."""

Table = dict[str, Any]


def seeds(table: Table) -> Iterator[tuple[str, Table]]:
    """Yield (what was taken out, the table without it) for every safety mark of one file."""
    yield from rule_seeds(table)
    yield from fact_seeds(table)
    yield from step_seeds(table)


def fact_seeds(table: Table) -> Iterator[tuple[str, Table]]:
    """Yield the file without each flag of a fact, each doubt of an act, each critical flag of a look."""
    for name, fact in table.get("facts", {}).items():
        for flag in ("decays", "secure"):
            if flag in fact:
                yield f"{flag} of fact {name}", without(table, "facts", name, flag)
    for name, act in table.get("acts", {}).items():
        for fact in act.get("starts", {}):
            yield f"doubt in {fact} once {name} has begun", without(table, "acts", name, "starts", fact)
    for name, look in table.get("look", {}).items():
        for number, answer in enumerate(look.get("answer", [])):
            if answer.get("critical"):
                what = f"critical of {answer['phrase']} at look {name}"
                yield what, without(table, "look", name, "answer", number, "critical")


def step_seeds(table: Table) -> Iterator[tuple[str, Table]]:
    """Yield the file without each need of its claim and steps, and each critical flag of an answer."""
    for need in table.get("done", {}).get("needs", {}):
        yield f"need {need} of the claim", without(table, "done", "needs", need)
    for number, step in enumerate(table.get("step", [])):
        for need in step.get("needs", {}):
            yield f"need {need} of step {step['id']}", without(table, "step", number, "needs", need)
        for place, answer in enumerate(step.get("answer", [])):
            if answer.get("critical"):
                what = f"critical of {answer['phrase']} at step {step['id']}"
                yield what, without(table, "step", number, "answer", place, "critical")


def rule_seeds(table: Table) -> Iterator[tuple[str, Table]]:
    """Yield the file without each rule, and without each value of one."""
    for number, rule in enumerate(table.get("never", [])):
        yield f"rule {rule['id']}", without(table, "never", number)
        for fact, values in rule["when"].items():
            if len(values) > 1:
                for place, value in enumerate(values):
                    yield f"{fact} {value} of rule {rule['id']}", without(table, "never", number, "when", fact, place)


def without(table: Table, *path: str | int) -> Table:
    """Return a copy of the table without the entry at ``path``; a table left empty goes with it."""
    out = copy.deepcopy(table)
    at: Any = out
    for key in path[:-1]:
        at = at[key]
    del at[path[-1]]
    return out


@dataclass(frozen=True)
class Case:
    """One published test, with one set of its parameters."""

    name: str
    call: Callable[[], None]


def published_cases() -> list[Case]:
    """Return every case of the published tables."""
    out = []
    for module in TABLES:
        for name, test in vars(module).items():
            if not name.startswith("test_"):
                continue
            sets: list[dict[str, Any]] = [{}]
            for mark in getattr(test, "pytestmark", []):
                names, values = mark.args
                keys = [names] if isinstance(names, str) else list(names)
                rows = [value.values if hasattr(value, "values") else value for value in values]
                rows = [row if len(keys) > 1 or isinstance(row, tuple) else (row,) for row in rows]
                sets = [{**one, **dict(zip(keys, row, strict=True))} for one in sets for row in rows]
            out += [Case(f"{name}[{number}]", partial(test, **given)) for number, given in enumerate(sets)]
    return out


def failing(plans: tuple[Plan, ...]) -> set[str]:
    """Return the names of the published cases that fail when these are the shipped plans."""
    for module in (published, never, *TABLES):
        vars(module)["plans"] = lambda: plans
    out = set()
    for case in published_cases():
        try:
            case.call()
        except (AssertionError, LookupError, StopIteration, RuntimeError):
            out.add(case.name)
    return out


def readies(folder: Path, relative: str) -> list[Prepared]:
    """Return the runs that a file concerns: of a procedure all rigs and sites, of the yard one of each procedure.

    Only with a mate: it has every step that a driver alone has, or its like.
    """
    where = Library((folder,))
    names = where.names("procedures") if "/" not in relative else [relative.split("/", 1)[0]]
    out = []
    for name in names:
        for rig, site, crew in every_setting(where):
            if crew != "mate":
                continue
            try:
                out.append(prepare(where, grammars(), name, rig=rig, site=site, crew=crew))
            except FileFaults:
                raise
            except InputError:
                continue
            if "/" not in relative:
                break
    return out


@cache
def always_failing(relative: str) -> frozenset[str]:
    """Return the cases that fail on these runs with nothing taken out: they need other procedures."""
    return frozenset(failing(tuple(ready.plan for ready in readies(SHIPPED, relative))))


def noticed(folder: Path, relative: str) -> str:
    """Return who notices what is missing in ``folder``, or "" where nobody does."""
    try:
        runs = readies(folder, relative)
    except FileFaults as error:
        return f"reading: {str(error).splitlines()[0][-90:]}"
    plans = tuple(ready.plan for ready in runs)
    published._ENGINES.clear()
    failed = failing(plans) - always_failing(relative)
    if failed:
        return sorted(failed)[0]
    seen: set[str] = set()
    for ready in runs:
        if likeness(ready.plan) not in seen:
            seen.add(likeness(ready.plan))
            found = check(ready.files, ready.plan).findings
            if found:
                return f"prove: {str(found[0].fault)[-90:]}"
    return ""


def files() -> Iterator[tuple[str, Table]]:
    """Yield every shipped file that holds safety marks."""
    for path in [SHIPPED / "yard.toml", *sorted(SHIPPED.glob("*/procedure.toml"))]:
        yield str(path.relative_to(SHIPPED)), tomllib.loads(path.read_text(encoding="utf-8"))


def forget_words(folder: Path, what: str) -> None:
    """Take out the spoken text of a rule that was taken out, as who removes a rule would."""
    if not what.startswith("rule "):
        return
    for path in folder.glob("*.toml"):
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        if what[5:] in table.get("never", {}):
            path.write_text(written(without(table, "never", what[5:])), encoding="utf-8")


def try_one(relative: str, what: str, table: Table) -> tuple[str, str, str]:
    """Seed one fault in a copy of the library; return file, what, and who noticed."""
    with tempfile.TemporaryDirectory(prefix="hitchcall-seed-") as scratch:
        folder = Path(scratch) / "procedures"
        shutil.copytree(SHIPPED, folder)
        (folder / relative).write_text(written(table), encoding="utf-8")
        forget_words(folder, what)
        return relative, what, noticed(folder, relative)


def main() -> None:
    """Try every mark and print the survivors."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--limit", type=int, default=0, help="try only every N-th mark (0: all)")
    parser.add_argument("--only", default="", help="try only files whose path holds this")
    parser.add_argument("--list", action="store_true", help="name the marks and try none")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    given = parser.parse_args()
    shutil.copytree(ROOT / "procedures", SHIPPED)
    todo = [
        (relative, what, table) for relative, whole in files() if given.only in relative for what, table in seeds(whole)
    ]
    todo = todo[:: given.limit or 1]
    if given.list:
        shutil.rmtree(SHIPPED.parent)
        print("\n".join(f"{relative}: {what}" for relative, what, _ in todo))
        return
    survivors = []
    with ProcessPoolExecutor(given.jobs, multiprocessing.get_context("fork")) as pool:
        for relative, what, by in pool.map(try_one, *zip(*todo, strict=True)):
            print(f"{relative}: {what}: {by or 'SURVIVES'}", flush=True)
            survivors += [] if by else [f"{relative}: {what}"]
    shutil.rmtree(SHIPPED.parent)
    print(f"{len(todo)} marks taken out, {len(survivors)} survivors")
    for one in survivors:
        print(f"  {one}")
    sys.exit(1 if survivors else 0)


if __name__ == "__main__":
    main()
