"""``hitchcall phrases``: everything that can be said, step by step."""

from __future__ import annotations

import json
from pathlib import Path

import click

from assistant.commands.options import json_option, prepared, setting_options
from assistant.engine.commands import SESSION_PHRASES
from assistant.engine.events import Heard, Measured
from assistant.engine.guide import good_run
from assistant.phrases.live import Role
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared


@click.command()
@click.argument("procedure", default="couple")
@setting_options
@click.option("--step", default="", help="Only this step.")
@click.option("--script", is_flag=True, help="Print what a driver says in a faultless run, a line each.")
@json_option
def phrases(
    procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None, step: str, script: bool, as_json: bool
) -> None:
    """List every phrase that PROCEDURE takes, step by step, with all the ways to say it.

    With --script the lines of a faultless run come out, to be practised, or fed to
    `hitchcall run PROCEDURE --ears typed`.
    """
    ready = prepared(procedure, rig, site, crew, lang, own)
    if script:
        for line in script_lines(ready):
            click.echo(json.dumps({"say": line}, ensure_ascii=False) if as_json else line)
        return
    announcements = {act.announce for act in ready.plan.acts.values()}
    shown = [("at any time", sorted(SESSION_PHRASES)), ("before you act", sorted(announcements))]
    for name, state in ready.step_states():
        own_ids = ready.engine.live(state).phrases - SESSION_PHRASES - announcements
        if own_ids or state.held:
            shown.append((name, sorted(own_ids)))
    for name, ids in shown:
        if step and name != step:
            continue
        rows = {phrase: list(ready.book.says(phrase)) for phrase in ids}
        if as_json:
            click.echo(json.dumps({"step": name, "phrases": rows}, ensure_ascii=False))
            continue
        click.echo(name)
        for phrase, says in rows.items():
            click.echo(f"  {phrase:26s} {' / '.join(says)}")


def script_lines(ready: Prepared) -> list[str]:
    """Return the typed lines of a faultless run."""
    lines = []
    for _, told in good_run(ready.engine):
        event = told.event
        if isinstance(event, Measured):
            lines.append(say_reading(event.value, event.unit, ready.book.lang))
        elif isinstance(event, Heard):
            call = f"{ready.book.mate} " if event.who is Role.MATE else ""
            lines.append(call + ready.wording.says(event.phrase))
    return lines
