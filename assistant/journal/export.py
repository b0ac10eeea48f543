"""Export of a run as CSV, JSON Lines or Parquet: one row a record, the same columns in each."""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from assistant.errors import InputError, LogError
from assistant.journal.disk import trouble
from assistant.journal.fold import opened
from assistant.journal.lines import plain, with_words
from assistant.journal.records import Heard

COLUMNS = {
    "run": str,
    "seq": int,
    "wall": str,
    "mono_ms": int,
    "type": str,
    "who": str,
    "phrase": str,
    "reading": str,
    "unit": str,
    "unheard": str,
    "words": str,
    "text": str,
    "data": str,
}
"""Column to type. ``reading`` is exact decimal text; ``text`` the record in plain words; ``data`` the
record's own JSON. What does not apply is empty."""

_BATCH = 10_000


def rows(path: Path) -> Iterator[dict[str, object]]:
    """Yield the rows of a run; LogError at the first line that does not fit."""
    run = opened(path).run
    for entry, said in with_words(path):
        record = entry.record
        row: dict[str, object] = dict.fromkeys(COLUMNS, "")
        row.update(run=run, seq=entry.seq, wall=entry.wall, mono_ms=entry.mono, type=entry.kind)
        if isinstance(record, Heard):
            reading = record.reading or {}
            row.update(
                who=record.who,
                phrase=record.phrase or "",
                reading=str(reading.get("value") or ""),
                unit=str(reading.get("unit") or ""),
                unheard=record.unheard or "",
                words=said.words if said else "",
            )
        row.update(text=plain(record, said), data=json.dumps(entry.data, ensure_ascii=False, sort_keys=True))
        yield row


def export(path: Path, out: Path) -> int:
    """Write a run to ``out``, in the format of its ending (.csv, .jsonl, .parquet); return the rows.

    Raises `InputError` for another ending or when Parquet's library is not installed, `LogError` when the
    log or the file fails.
    """
    writers = {".csv": _csv, ".jsonl": _jsonl, ".parquet": _parquet}
    writer = writers.get(out.suffix.lower())
    if writer is None:
        raise InputError(f'"{out.name}" ends in none of {", ".join(writers)}: say one of them.')
    try:
        return writer(rows(path), out)
    except OSError as error:
        raise trouble("write", out, error) from error


def _csv(found: Iterator[dict[str, object]], out: Path) -> int:
    count = 0
    with out.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(COLUMNS))
        writer.writeheader()
        for row in found:
            writer.writerow({name: spreadsheet_cell(value) for name, value in row.items()})
            count += 1
    return count


def spreadsheet_cell(value: object) -> object:
    """Keep a spreadsheet from running a typed line as a formula."""
    return f"'{value}" if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t"} else value


def _jsonl(found: Iterator[dict[str, object]], out: Path) -> int:
    count = 0
    with out.open("w", encoding="utf-8") as file:
        for row in found:
            file.write(json.dumps(row, ensure_ascii=False) + "\n")
            count += 1
    return count


def _parquet(found: Iterator[dict[str, object]], out: Path) -> int:
    try:
        # Only with the extra "trainer"; it ships no types.
        import pyarrow as pa  # type: ignore[import-untyped,unused-ignore]  # noqa: PLC0415
        from pyarrow import parquet  # type: ignore[import-untyped,unused-ignore]  # noqa: PLC0415
    except ImportError as error:
        raise InputError("Parquet needs the trainer's extra: pip install 'hitchcall[trainer]'.") from error
    kinds = {str: pa.string(), int: pa.int64()}
    schema = pa.schema([(name, kinds[kind]) for name, kind in COLUMNS.items()])
    count = 0
    try:
        with parquet.ParquetWriter(str(out), schema) as writer:
            while batch := list(islice(found, _BATCH)):
                writer.write_table(pa.Table.from_pylist(batch, schema=schema))
                count += len(batch)
    except pa.ArrowException as error:
        raise LogError(f"Cannot write {out} as Parquet: {error}.") from error
    return count
