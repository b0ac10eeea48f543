"""``hitchcall debrief`` with exported runs: writing them as Parquet, and the report on them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from assistant.errors import InputError

if TYPE_CHECKING:
    from assistant.debrief.blocks import Report
    from assistant.fleet.store import Store


def write_export(fleet: Store, folder: Path) -> None:
    """Bring the exported ``folder`` to what the store holds, and say what was done."""
    from assistant.fleet.export import export  # noqa: PLC0415 - an optional extra

    told = export(fleet, folder, _progress)
    click.echo(
        f"Exported: {told.runs} runs. Months and sites: {told.written} written, {told.unchanged} unchanged, "
        f"{told.removed} removed.",
        err=True,
    )
    click.echo(f"Export: {folder}")


def _progress(done: int, of: int) -> None:
    if done == of or done % 50 == 0:
        click.echo(f"  writing months and sites: {done} of {of}", err=True)


def report_on_export(folder: Path, own: Path | None, walk: int, walks: Mapping[str, int], *, spark: bool) -> Report:
    """Return the report on exported runs; raises InputError when what it needs is not installed."""
    try:
        from assistant.debrief.folder_report import folder_report  # noqa: PLC0415 - an optional extra
        from assistant.debrief.views import Views  # noqa: PLC0415 - as above
        from assistant.fleet.exported import ByDuckDB, BySpark  # noqa: PLC0415 - as above
    except ImportError as error:
        raise InputError("Exports are read with an extra: pip install 'hitchcall[trainer]'.") from error
    with BySpark(folder) if spark else ByDuckDB(folder) as fleet:
        return folder_report(folder, Views(fleet, own), walk, walks)
