"""``hitchcall debrief``: the trainer's page over a folder of runs, and the report on one run or on all."""

from __future__ import annotations

import hashlib
import signal
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.commands.debrief_export import report_on_export, write_export
from assistant.commands.options import procedures_option
from assistant.errors import InputError
from assistant.fleet.mark import is_export
from assistant.journal.keys import read_public, signing_key
from assistant.places import cache_folder, keys_folder, notes_folder

if TYPE_CHECKING:
    from assistant.debrief.blocks import Report
    from assistant.debrief.folder import Folder
    from assistant.debrief.notes import NoteBook
    from assistant.fleet.store import Store


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@click.option("--store", "store", default="", help="Fleet store: a SQLite file or postgresql://…; else one is kept.")
@click.option(
    "--report",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write a report, .html or .pdf, and serve no page.",
)
@click.option("--run", "name", default="", help="The run to report on: its name, or a beginning of it.")
@click.option(
    "--walk", "walks", multiple=True, metavar="SECONDS|STEP=SECONDS",
    help="How long the walk to a step takes in your yard: for all steps, or for one.",
)  # fmt: skip
@click.option(
    "--tablets", type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="Folder of your tablets' public keys (NAME.pub): runs of other tablets are then not proven.",
)  # fmt: skip
@click.option(
    "--notes", type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the trainer's notes; else the trainer's own.",
)  # fmt: skip
@click.option(
    "--parquet", "parquet", type=click.Path(path_type=Path, file_okay=False),
    help="Write the runs as Parquet into this folder, by month and site, and serve no page.",
)  # fmt: skip
@click.option("--spark", is_flag=True, help="FOLDER is such an export: let Spark work its figures out, not DuckDB.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the page; 0 is any free one.")
@click.option("--open", "open_browser", is_flag=True, help="Open the page where there is a display.")
@procedures_option
def debrief(
    folder: Path, store: str, report: Path | None, name: str, walks: tuple[str, ...], tablets: Path | None,
    notes: Path | None, parquet: Path | None, spark: bool, port: int, open_browser: bool, own: Path | None,
) -> None:  # fmt: skip
    """Look back on the runs in FOLDER: one by one, or all together.

    Serves a page on this machine: each run as a timeline with its refusals, what was heard, and your own
    signed notes; and figures over all runs. With --report writes a file instead, for one run (--run) or
    for the folder. Figures need the extra "trainer", PDF the extra "sheet". Nothing is ever written
    into the folder. FOLDER may also be one that --parquet has written: then with --report, for its figures.
    """
    from assistant.debrief.folder import Folder  # noqa: PLC0415 - loaded with the engine, only when used
    from assistant.debrief.notes import NoteBook  # noqa: PLC0415 - as above

    if report is not None and report.suffix not in {".html", ".pdf"}:
        raise InputError(f"{report} ends neither in .html nor in .pdf; name it so.")
    walk, single = walking(walks)
    if is_export(folder):
        if report is None:
            raise InputError(f"{folder} holds exported runs, not logs: name a report with --report.")
        _write(report_on_export(folder, own, walk, single, spark=spark), report)
        return
    if spark:
        raise InputError(f"{folder} is no export: make one with --parquet, and name that one with --spark.")
    keys = tuple(read_public(path) for path in sorted(tablets.rglob("*.pub"))) if tablets else ()
    runs = Folder(folder, own, keys)
    book = NoteBook(notes or notes_folder(), signing_key(keys_folder(), "trainer"))
    if report is not None and name:
        from assistant.debrief.run_report import run_report  # noqa: PLC0415 - as above

        run = runs.named(name)
        _write(run_report(runs, run, book.read(run.name, run.folder)), report)
        return
    fleet = _taken_in(runs, keys, store, tablets)
    try:
        if report is None and parquet is None:
            _serve(runs, book, fleet, own, walk, single, port, open_browser=open_browser)
        else:
            _written(runs, fleet, own, walk, single, report, parquet)
    finally:
        if fleet is not None:
            fleet.close()


def _written(
    runs: Folder, fleet: Store | None, own: Path | None, walk: int, single: dict[str, int], report: Path | None,
    parquet: Path | None,
) -> None:  # fmt: skip
    """Write the report on all runs, the export, or both."""
    if fleet is None:
        raise InputError("Name the run to report on with --run, or install hitchcall[trainer] for all of them.")
    if parquet is not None:
        write_export(fleet, parquet)
    if report is not None:
        from assistant.debrief.folder_report import folder_report  # noqa: PLC0415 - an optional extra
        from assistant.debrief.views import Views  # noqa: PLC0415 - as above

        _write(folder_report(runs.path, Views(fleet, own), walk, single), report)


def walking(told: Sequence[str]) -> tuple[int, dict[str, int]]:
    """Read walking times: seconds for all steps (5 unless said) and for single ones; InputError otherwise."""
    whole, single = 5, {}
    for one in told:
        step, _, seconds = one.rpartition("=")
        if not (seconds.isascii() and seconds.isdigit() and int(seconds) <= 3600):
            raise InputError(f'"{one}" is no walking time: say --walk 20, or --walk see-jaw=25.')
        if step:
            single[step] = int(seconds)
        else:
            whole = int(seconds)
    return whole, single


def _taken_in(runs: Folder, keys: Sequence[str], store: str, tablets: Path | None) -> Store | None:
    """Take the runs into the store and return it; None without the trainer's extra."""
    try:
        from assistant.fleet.intake import take_in  # noqa: PLC0415 - as above
        from assistant.fleet.store import Store  # noqa: PLC0415 - as above
    except ImportError as error:
        if store:
            raise InputError("A fleet store needs the trainer's extra: pip install 'hitchcall[trainer]'.") from error
        click.echo("Only single runs are shown: figures need pip install 'hitchcall[trainer]'.", err=True)
        return None
    fleet = Store(store or _kept(runs.path, keys))
    taken = take_in(fleet, [runs.path], tablets=tablets, progress=lambda told: _progress(told.done, told.of))
    click.echo(
        f"Runs: {taken.new} new, {taken.longer} grown, {taken.known + taken.unchanged} known. "
        f"Files not proven: {taken.quarantined}. Being written just now: {taken.busy}.",
        err=True,
    )
    return fleet


def _kept(folder: Path, keys: Sequence[str]) -> Path:
    """Where the figures over a folder are kept, so that the next look takes in only what is new.

    Apart for other ``keys``: what was counted when every tablet's log was taken must not stay among the figures.
    """
    name = hashlib.sha256("\n".join((str(folder.resolve()), *sorted(keys))).encode()).hexdigest()[:16]
    place = cache_folder() / "debrief"
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{place} cannot be made ({error.strerror}); name a file with --store.") from None
    return place / f"{name}.sqlite"


def _progress(done: int, of: int) -> None:
    if done == of or done % 200 == 0:
        click.echo(f"  reading the runs: {done} of {of}", err=True)


def _write(report: Report, path: Path) -> None:
    if path.suffix == ".pdf":
        from assistant.debrief.report_pdf import write_pdf  # noqa: PLC0415 - an optional extra

        write_pdf(report, path)
    else:
        from assistant.debrief.report_html import to_html  # noqa: PLC0415 - as above

        try:
            path.write_text(to_html(report), encoding="utf-8")
        except OSError as error:
            raise InputError(f"{path} cannot be written ({error.strerror}); name another file.") from None
    click.echo(f"Report: {path}")


def _serve(
    runs: Folder,
    book: NoteBook,
    fleet: Store | None,
    own: Path | None,
    walk: int,
    single: dict[str, int],
    port: int,
    *,
    open_browser: bool,
) -> None:
    from assistant.debrief.server import Debrief  # noqa: PLC0415 - as above
    from assistant.debrief.sound import Sounds  # noqa: PLC0415 - as above
    from assistant.screen.attach import has_display, open_page  # noqa: PLC0415 - as above

    many = None
    if fleet is not None:
        from assistant.debrief.many import Many  # noqa: PLC0415 - an optional extra
        from assistant.debrief.views import Views  # noqa: PLC0415 - as above

        many = Many(runs, Views(fleet, own), walk, single)
    page = Debrief(runs, book, Sounds(cache_folder() / "voice"), port, many)
    ended = threading.Event()
    signal.signal(signal.SIGTERM, lambda *_: ended.set())  # before anyone can know the address
    page.start()
    leads = open_page(page.address) if open_browser and has_display() else None
    try:
        click.echo(f"Page: {page.address}")
        click.echo("Ctrl-C ends it.", err=True)
        ended.wait()
    except KeyboardInterrupt:
        pass
    finally:
        if leads is not None:
            leads.unlink(missing_ok=True)
        page.close()
