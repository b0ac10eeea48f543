"""A table out of the debrief for a spreadsheet (CSV) or for programs (Parquet)."""

from __future__ import annotations

import csv
import io

from assistant.debrief.blocks import Cell, Table
from assistant.errors import InputError
from assistant.journal.export import spreadsheet_cell

FORMATS = {"csv": "text/csv; charset=utf-8", "parquet": "application/vnd.apache.parquet"}


def table_bytes(table: Table, form: str) -> bytes:
    """Return a table as "csv" or "parquet", one column a column and ``masked``; InputError otherwise."""
    if form == "csv":
        return _csv(table)
    if form == "parquet":
        return _parquet(table)
    raise InputError(f'A table is saved as {" or ".join(FORMATS)}, not as "{form}".')


def _csv(table: Table) -> bytes:
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow([*(one.name for one in table.columns), "masked"])
    for at, row in enumerate(table.rows):
        cells = ["" if one is None else spreadsheet_cell(one) for one in row]
        writer.writerow([*cells, "yes" if at in table.masked else ""])
    return out.getvalue().encode()


def _parquet(table: Table) -> bytes:
    try:
        # Only with the extra "trainer"; it ships no types.
        import pyarrow as pa  # type: ignore[import-untyped,unused-ignore]  # noqa: PLC0415
        from pyarrow import parquet  # type: ignore[import-untyped,unused-ignore]  # noqa: PLC0415
    except ImportError as error:
        raise InputError("Parquet needs the trainer's extra: pip install 'hitchcall[trainer]'.") from error
    columns: dict[str, object] = {}
    for at, column in enumerate(table.columns):
        values: list[Cell] = [row[at] for row in table.rows]
        if not column.number:
            columns[column.name] = pa.array([None if one is None else str(one) for one in values], pa.string())
        elif any(isinstance(one, float) for one in values):
            columns[column.name] = pa.array([None if one is None else float(one) for one in values], pa.float64())
        else:
            columns[column.name] = pa.array(values, pa.int64())
    columns["masked"] = pa.array([at in table.masked for at in range(len(table.rows))], pa.bool_())
    out = io.BytesIO()
    parquet.write_table(pa.table(columns), out)
    return out.getvalue()
