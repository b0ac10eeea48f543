"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from assistant.errors import InputError
from assistant.prepare import DEFAULT_RIG, DEFAULT_SITE, Prepared, grammars, library, prepare

OWN_VARIABLE = "HITCHCALL_PROCEDURES"

F = TypeVar("F", bound=Callable[..., Any])


def procedures_option(function: F) -> F:
    """``--procedures FOLDER``."""
    return click.option(
        "--procedures",
        "own",
        type=click.Path(path_type=Path, file_okay=False),
        envvar=OWN_VARIABLE,
        help="The yard's own folder of procedures, rigs, sites and grammars; the rest is taken from what is shipped.",
    )(function)


def lang_option(function: F) -> F:
    """``--lang``."""
    return click.option("--lang", default="en", show_default=True, help="Language of the run.")(function)


def setting_options(function: F) -> F:
    """``--rig``, ``--site``, ``--crew``, ``--lang`` and ``--procedures``."""
    for option in (
        procedures_option,
        lang_option,
        click.option(
            "--crew", default="alone", show_default=True, type=click.Choice(["alone", "mate"]),
            help="Whether a mate works along; the mate says 'mate' before an answer.",
        ),
        click.option("--site", default=DEFAULT_SITE, show_default=True, help="Order, limits and units of this yard."),
        click.option("--rig", default=DEFAULT_RIG, show_default=True, help="What this tractor and trailer have."),
    ):  # fmt: skip
        function = option(function)
    return function


LONGEST_CALL_SIGN = 24


def call_sign_option(function: F) -> F:
    """``--call-sign NAME``."""
    return click.option(
        "--call-sign", default="", callback=_call_sign,
        help="A name the driver chooses to be known by in training figures; without it the log names nobody.",
    )(function)  # fmt: skip


def _call_sign(_context: click.Context, _option: click.Parameter, value: str) -> str:
    """Take a short plain name: it stands in tables and file names of whoever reads the log."""
    name = " ".join(value.split())
    if len(name) > LONGEST_CALL_SIGN or not all(char.isalnum() or char in " -" for char in name):
        raise InputError(f"{value!r} is no call sign: up to {LONGEST_CALL_SIGN} letters, digits, spaces and dashes.")
    return name


def json_option(function: F) -> F:
    """``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print for a program: one JSON object a line.")(
        function
    )


def prepared(procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None) -> Prepared:
    """Load what the shared options name."""
    return prepare(library(own), grammars(own), procedure, rig=rig, site=site, crew=crew, lang=lang)
