"""``hitchcall sheet``: a procedure on paper, for the day the tablet is dead."""

from __future__ import annotations

from pathlib import Path

import click

from assistant.commands.options import prepared, setting_options
from assistant.errors import InputError
from assistant.procedure.sheet import sheet_of, to_html


@click.command()
@click.argument("procedure")
@setting_options
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write, .html or .pdf; else HTML is printed."
)
def sheet(procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None, out: Path | None) -> None:
    """Print a procedure as a sheet: hazards, steps, tick boxes, limits and sources.

    PDF needs the extra "sheet"; HTML needs nothing and prints from any browser.
    """
    ready = prepared(procedure, rig, site, crew, lang, own)
    made = sheet_of(ready.files, ready.plan, ready.book.phrases)
    if out is None:
        click.echo(to_html(made, lang), nl=False)
    elif out.suffix == ".pdf":
        from assistant.procedure.sheet_pdf import write_pdf  # noqa: PLC0415 - an optional extra

        write_pdf(made, lang, out)
    elif out.suffix == ".html":
        try:
            out.write_text(to_html(made, lang), encoding="utf-8")
        except OSError as error:
            raise InputError(f"{out} cannot be written ({error.strerror}); name another file.") from None
    else:
        raise InputError(f"{out} ends neither in .html nor in .pdf; name it so.")
