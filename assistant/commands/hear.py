"""``hitchcall hear``: what recordings are heard as."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.commands.options import prepared, setting_options
from assistant.ears.choose import open_pair
from assistant.ears.hear import hear_file
from assistant.engine import commands
from assistant.errors import HitchcallError, InputError
from assistant.phrases.live import Live
from assistant.prepare import Prepared


@click.command()
@click.argument("wav", nargs=-1, required=True, type=click.Path(path_type=Path))
@setting_options
@click.option("--procedure", default="couple", show_default=True, help="Whose phrases count.")
@click.option("--step", default="", help="The step that is asked (else the first); 'all' for every phrase there is.")
@click.option(
    "--vosk-model", type=click.Path(path_type=Path, exists=True, file_okay=False), envvar="HITCHCALL_VOSK_MODEL",
    help="A Vosk model's folder.",
)  # fmt: skip
def hear(
    wav: tuple[Path, ...], rig: str, site: str, crew: str, lang: str, own: Path | None, procedure: str, step: str,
    vosk_model: Path | None,
) -> None:  # fmt: skip
    """Tell what each recording WAV is heard as while a step's phrases count; one JSON object a line.

    Each tells the words, the phrase or why there is none, both recognisers' own verdicts, levels and
    the time it took. A file may hold several utterances. Exit status 2 if a file cannot be used; the
    others are still heard.
    """
    ready = prepared(procedure, rig, site, crew, lang, own)
    live = _live(ready, step)
    opened = open_pair(ready.book, vosk_model=vosk_model)
    for notice in opened.notices:
        click.echo(notice, err=True)
    failed = []
    try:
        for path in wav:
            try:
                for record in hear_file(path, opened.pair, live):
                    click.echo(json.dumps(record, ensure_ascii=False))
            except HitchcallError as error:
                failed.append(str(error))
    finally:
        opened.pair.close()
    if failed:
        raise InputError("\n".join(failed))


def _live(ready: Prepared, step: str) -> Live:
    if step == "all":
        return ready.book.live(ready.book.phrases, emergency=[commands.STOP], mate=ready.plan.crew == "mate")
    for name, state in ready.step_states():
        if not step or name == step:
            return ready.live(state)
    raise InputError(f"There is no step {step!r} in {ready.plan.procedure}; `hitchcall phrases` lists them.")
