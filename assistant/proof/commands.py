"""``hitchcall prove``: explores every order of words of a procedure and prints what is wrong with it."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import click

from assistant.commands.options import json_option, lang_option, procedures_option
from assistant.errors import FileFaults, HitchcallError, InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.prepare import grammars, library
from assistant.procedure.diagram import flowchart
from assistant.procedure.load import Library
from assistant.procedure.setting import CREWS
from assistant.proof.checks import Finding
from assistant.proof.coverage import idle_in_library, unused_in
from assistant.proof.explore import Explorer
from assistant.proof.library import Result, Run, plan_of, prove_all, settings
from assistant.proof.space import Nobody, Space
from assistant.proof.spin import SpinResult, run_spin
from assistant.proof.spoken import typed_lines

COLUMNS = ("states", "moves", "decisions", "(step, facts)", "seconds", "a second", "faults")


class ProofError(HitchcallError):
    """A procedure does not prove (exit status 1)."""


@click.command()
@click.argument("procedure", required=False)
@click.option("--rig", help="Only this rig; without it, every rig there is.")
@click.option("--site", help="Only this site; without it, every site there is.")
@click.option("--crew", type=click.Choice(CREWS), help="Only this crew; without it, both.")
@procedures_option
@lang_option
@click.option("--spin", is_flag=True, help="Cross-check every run by the model checker spin (Debian: spin, gcc).")
@json_option
@click.option(
    "--diagram", type=click.Path(path_type=Path, dir_okay=False), help="Write the first run as a Mermaid flowchart."
)
def prove(
    procedure: str | None, rig: str | None, site: str | None, crew: str | None,
    own: Path | None, lang: str, spin: bool, as_json: bool, diagram: Path | None,
) -> None:  # fmt: skip
    """Prove a procedure (all of them, if none is named) against every order of words.

    Drives the engine itself through every answer, announcement, mistake, correction, interruption
    and wait until no new state turns up. Prints each fault with the shortest list of lines that
    leads to it, and the command to type them into. Exit status 1 on faults.
    """
    where = library(own)
    runs = settings(
        [_known(where, "procedures", procedure)] if procedure else where.names("procedures"),
        [_known(where, "rigs", rig)] if rig else where.names("rigs"),
        [_known(where, "sites", site)] if site else where.names("sites"),
        [crew] if crew else list(CREWS),
    )
    if diagram is not None:
        _draw(where, runs, lang, diagram)
    results = prove_all(where, runs, lang, _progress(len(runs), quiet=as_json))
    if not results:
        raise InputError("The procedure is not for any such rig, site and crew; name another.")
    findings = [finding for result in results for finding in result.findings] + unused_in(where, results, lang)
    if procedure is None and rig is None and site is None and crew is None:
        findings += idle_in_library(where, results, lang)
    crossed = {result.run: _cross_check(where, result, lang) for result in results} if spin else {}
    findings = [replace(one, replay=one.replay and one.replay + _more(own, lang)) for one in findings]
    _print(results, crossed, findings, _book(own, lang), as_json=as_json)
    differ = [run for run, (_, same) in crossed.items() if not same]
    if findings or differ:
        count = len(_once(findings))
        parts = [f"{count} fault{'s' if count > 1 else ''}"] if findings else []
        parts += [f"the engine and spin differ on {', '.join(map(str, differ))}"] if differ else []
        raise ProofError(f"Not proven: {'; '.join(parts)}.")


def _known(where: Library, kind: str, name: str) -> str:
    names = where.names(kind)
    if name not in names:
        raise InputError(f"There is no {kind[:-1]} {name!r}; known here: {', '.join(names)}.")
    return name


def _more(own: Path | None, lang: str) -> str:
    """Return the options that a replay needs besides its setting."""
    return (f" --procedures {own}" if own is not None else "") + (f" --lang {lang}" if lang != "en" else "")


def _book(own: Path | None, lang: str) -> PhraseBook | None:
    try:
        return load_book(grammars(own), lang)
    except FileFaults:
        return None  # a grammar with faults is lint's business; phrases stand as their ids then


def _draw(where: Library, runs: Iterable[Run], lang: str, path: Path) -> None:
    for run in runs:
        found = plan_of(where, run, lang)
        if found is not None:
            try:
                path.write_text(flowchart(found[1]), encoding="utf-8")
            except OSError as error:
                raise InputError(f"{path} cannot be written ({error.strerror}); name another file.") from None
            return


class _progress:  # noqa: N801 - used as a function
    """Says on the error stream which run was done, one line each, as they finish."""

    def __init__(self, total: int, *, quiet: bool) -> None:
        self.total, self.quiet = total, quiet or total == 1

    def __call__(self, result: Result) -> None:
        if not self.quiet:
            click.echo(f"{result.run}: {result.states} states, {len(result.findings)} faults", err=True)


def _cross_check(where: Library, result: Result, lang: str) -> tuple[SpinResult, bool]:
    """Run spin on one run and compare verdict and reached (step, facts), less the facts nobody reads."""
    found = plan_of(where, result.run, lang)
    if found is None:
        raise InputError(f"{result.run} is not a run this procedure is for.")
    _, plan = found
    spun = run_spin(plan)
    explorer = Explorer(plan, Nobody(), Space(plan))
    pairs = {(step, explorer.keep(facts)) for step, facts in spun.pairs}
    explored = Explorer(plan, Nobody(), Space(plan)).run().pairs
    falls = {finding.fault.field for finding in result.findings} & {"act", "needs", "next", "done.needs"}
    return spun, pairs == explored and bool(spun.errors) == bool(falls)


def _once(findings: Iterable[Finding]) -> list[Finding]:
    """One finding for each fault, the nearest."""
    best: dict[str, Finding] = {}
    for finding in sorted(findings, key=lambda one: len(one.moves)):
        best.setdefault(str(finding.fault), finding)
    return list(best.values())


def _print(
    results: list[Result], crossed: dict[Run, tuple[SpinResult, bool]], findings: list[Finding],
    book: PhraseBook | None, *, as_json: bool,
) -> None:  # fmt: skip
    if as_json:
        for result in results:
            click.echo(json.dumps(_row(result, crossed)))
        for finding in _once(findings):
            fault = finding.fault
            row = {"file": fault.file, "step": fault.step, "field": fault.field, "what": fault.what}
            way = {"replay": finding.replay, "lines": typed_lines(finding.moves, book)}
            click.echo(json.dumps({**row, **way}, ensure_ascii=False))
        return
    width = max(len(str(result.run)) for result in results)
    click.echo(" " * width + "".join(f"{name:>15}" for name in COLUMNS) + ("           spin" if crossed else ""))
    for result in results:
        speed = result.states / result.seconds if result.seconds else 0.0
        numbers = (result.states, result.edges, result.decisions, result.pairs, f"{result.seconds:.1f}", f"{speed:.0f}",
                   len(result.findings))  # fmt: skip
        line = f"{result.run!s:<{width}}" + "".join(f"{number:>15}" for number in numbers)
        if result.run in crossed:
            spun, same = crossed[result.run]
            line += f"{'agrees' if same else 'DIFFERS':>15} ({spun.states} states, {spun.seconds:.1f} s)"
        click.echo(line + (f"  and {len(result.same)} more runs of the same plan" if result.same else ""))
    for finding in _once(findings):
        click.echo(f"\n{finding.fault}")
        if finding.replay:
            click.echo(f"  To see it, type these lines into: {finding.replay}")
        for typed in typed_lines(finding.moves, book):
            click.echo(f"    {typed}")
    sys.stdout.flush()


def _row(result: Result, crossed: dict[Run, tuple[SpinResult, bool]]) -> dict[str, object]:
    row: dict[str, object] = {
        "procedure": result.run.procedure, "rig": result.run.rig, "site": result.run.site, "crew": result.run.crew,
        "steps": result.steps, "states": result.states, "moves": result.edges, "decisions": result.decisions,
        "step_facts": result.pairs, "seconds": round(result.seconds, 3), "faults": len(result.findings),
        "same_plan": [str(run) for run in result.same],
    }  # fmt: skip
    if result.run in crossed:
        spun, same = crossed[result.run]
        row["spin"] = {"agrees": same, "states": spun.states, "transitions": spun.transitions, "seconds": spun.seconds}
    return row
