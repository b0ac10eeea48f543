"""The exported files: only what counts, nobody named, and in step with the store however often it is broken off."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from made_runs import Clocks, Made

from assistant.errors import InputError
from assistant.fleet import export as export_module
from assistant.fleet import figures
from assistant.fleet.export import export, number_of
from assistant.fleet.exported import ByDuckDB
from assistant.fleet.filters import Filter, Mask
from assistant.fleet.intake import take_in
from assistant.fleet.schema import Run
from assistant.fleet.store import Store
from assistant.journal.keeping import forget
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared

MONTH_MS = 31 * 86_400_000
START_MS = 1_930_000_000_000


def run_of(logs: Path, key: TabletKey, couple: Prepared, name: str, month: int = 0, slip: str = "pulling-away") -> Path:
    """A short run that was left open, with a refusal in it."""
    made = Made(logs, key, couple, run=name, call_sign="Yard A", clocks=Clocks(START_MS + month * MONTH_MS))
    made.good()
    made.say(slip)
    made.mumble()
    made.writer.close()
    return made.folder


def files(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file of an export, with when it was written."""
    found = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns) for path in found}


def rows(folder: Path, table: str) -> list[dict[str, Any]]:
    """All rows of a table, read with no help of ours."""
    return [row for part in sorted((folder / table).rglob("*.parquet")) for row in pq.ParquetFile(part).read().to_pylist()]


def test_what_is_exported_names_nobody_and_joins_up(
    tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared
) -> None:
    """Hazard: call signs and the paths of home folders leave with the figures, where no forgetting reaches them."""
    for name, key in tablets.items():
        run_of(tmp_path / f"logs-{name}", key, couple, "run-a")
    out = tmp_path / "out"
    with Store(tmp_path / "fleet.sqlite") as store:
        take_in(store, [tmp_path / "logs-one", tmp_path / "logs-two"], workers=1)
        told = export(store, out)
    assert (told.runs, told.written) == (2, 1)
    runs = rows(out, "run")
    assert {row["id"] for row in runs} == {number_of(key.public, "run-a") for key in tablets.values()}
    assert {(row["call_sign"], row["source"], row["links"]) for row in runs} == {("", "", b"")}
    for table in ("visit", "refusal", "hearing"):
        assert {row["run_id"] for row in rows(out, table)} == {row["id"] for row in runs}, table
    everything = b"".join(data for data, _ in files(out).values())
    assert b"Yard A" not in everything
    assert str(tmp_path).encode() not in everything
    assert [path.parent.name for path in (out / "run").rglob("*.parquet")] == ["site=us-handbook"]


def test_an_export_follows_the_store(tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared) -> None:
    """Promise: what has not changed is left alone; what was forgotten, grew or is disputed now is put right."""
    key, out = tablets["one"], tmp_path / "out"
    first = run_of(tmp_path / "logs", key, couple, "run-a")
    run_of(tmp_path / "logs", key, couple, "run-b", month=1)
    with Store(tmp_path / "fleet.sqlite") as store:
        take_in(store, [tmp_path / "logs"], workers=1)
        assert export(store, out).written == 2
        before = files(out)
        assert export(store, out).unchanged == 2
        assert files(out) == before
        forget(first, key, "asked")
        take_in(store, [tmp_path / "logs"], workers=1)
        told = export(store, out)
        assert (told.written, told.unchanged) == (1, 1)
        assert sorted(row["forgotten"] for row in rows(out, "run")) == ["", "audio words"]
        run_of(tmp_path / "retold", key, couple, "run-b", month=1, slip="raising-suspension")
        take_in(store, [tmp_path / "retold"], workers=1)
        told = export(store, out)
        assert (told.runs, told.removed) == (1, 1)
        assert len(list(out.rglob("*.parquet"))) == 5


def test_an_export_broken_off_goes_on(
    tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: the disk fills up amid an export, and figures are made of half a month."""
    run_of(tmp_path / "logs", tablets["one"], couple, "run-a")
    out = tmp_path / "out"
    with Store(tmp_path / "fleet.sqlite") as store:
        take_in(store, [tmp_path / "logs"], workers=1)
        export(store, out)
        run_of(tmp_path / "logs", tablets["one"], couple, "run-b")
        take_in(store, [tmp_path / "logs"], workers=1)
        real = export_module._save

        def full(part: Path, *told: Any) -> None:
            if part.parts[-4] == Run.__tablename__:
                raise OSError(28, "No space left on device")
            real(part, *told)

        with monkeypatch.context() as patch:
            patch.setattr(export_module, "_save", full)
            with pytest.raises(InputError, match=r"cannot be written: no space left on device\."):
                export(store, out)
        with pytest.raises(InputError, match="holds no run"):
            ByDuckDB(out)
        assert export(store, out).runs == 2
        with ByDuckDB(out) as exported:
            wanted = figures.refusals(store, Filter(), Mask(0, 0))
            assert figures.refusals(exported, Filter(), Mask(0, 0)).equals(wanted)
            assert int(wanted["refusals"].sum()) == 2


def test_an_export_never_overwrites_something_else(tmp_path: Path) -> None:
    """Hazard: a slip of the hand exports into a folder of logs, and other files are taken away."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("Dear Sir")
    with Store(tmp_path / "fleet.sqlite") as store, pytest.raises(InputError, match="holds something else"):
        export(store, tmp_path / "mine")
    assert (tmp_path / "mine" / "letter.txt").read_text() == "Dear Sir"
