"""``hitchcall lint``: everything wrong with procedures, rigs, sites and grammars, all at once."""

from __future__ import annotations

import importlib.util
import json
from collections.abc import Iterator
from pathlib import Path

import click

from assistant.commands.options import json_option, lang_option, procedures_option
from assistant.errors import DeviceError, Fault, FileFaults, HitchcallError, NotMeantError
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.craft import lint_book, lint_live
from assistant.phrases.live import Live
from assistant.phrases.mirror import check_mirror
from assistant.phrases.sounds import Dictionary, load_dictionary
from assistant.prepare import every_setting, grammars, library, prepare
from assistant.procedure.load import Library


class LintError(HitchcallError):
    """Files have faults (exit status 2)."""

    exit_status = 2


def english_dictionary(book: PhraseBook) -> Dictionary:
    """Return the recogniser's own dictionary with the book's pronunciations (pocketsphinx en-us, BSD)."""
    spec = importlib.util.find_spec("pocketsphinx")
    if spec is None or not spec.submodule_search_locations:
        raise DeviceError("pocketsphinx is not installed, so sounds cannot be compared; install Hitchcall again.")
    place = Path(spec.submodule_search_locations[0]) / "model" / "en-us" / "cmudict-en-us.dict"
    return load_dictionary(place, book.pronounce)


def faults_of(where: Library, folder: Path, names: list[str], lang: str) -> Iterator[Fault]:
    """Yield every fault of the named procedures under every rig, site and crew, and of their grammar."""
    live: dict[tuple[object, ...], tuple[str, Live]] = {}
    for name in names:
        fits = 0
        for rig, site, crew in every_setting(where):
            try:
                ready = prepare(where, folder, name, rig=rig, site=site, lang=lang, crew=crew)
            except NotMeantError:
                continue
            except FileFaults as error:
                yield from error.faults
                continue
            fits += 1
            for step, state in ready.step_states():
                now = ready.live(state)
                same = (frozenset(now.phrases), now.critical, now.reading, now.mate)
                live.setdefault(same, (f"{name}: {step}", now))
        if not fits:
            yield Fault(name, "cannot be run on any rig and site")
    book = load_book(folder, lang)
    yield from check_mirror(book)
    if lang == "en":
        dictionary = english_dictionary(book)
        yield from lint_book(book, dictionary)
        yield from lint_live(book, list(live.values()), dictionary)


@click.command()
@click.argument("procedure", nargs=-1)
@procedures_option
@lang_option
@json_option
def lint(procedure: tuple[str, ...], own: Path | None, lang: str, as_json: bool) -> None:
    """Find every fault of the named procedures (all, if none is named), on every rig and site.

    Names file, step and field. Phrases that sound alike, critical answers that are too short, words
    no recogniser can hear and orders that lead nowhere are faults. Exit status 2 if there are any.
    """
    where = library(own)
    names = list(procedure) or where.names("procedures")
    found = list(dict.fromkeys(faults_of(where, grammars(own), names, lang)))
    for fault in found:
        row = {"file": fault.file, "step": fault.step, "field": fault.field, "what": fault.what}
        click.echo(json.dumps(row, ensure_ascii=False) if as_json else str(fault))
    if found:
        raise LintError(f"{len(found)} faults in {', '.join(names)}; mend them before anybody runs it.")
    if not as_json:
        click.echo(f"No fault in {', '.join(names)}.")
