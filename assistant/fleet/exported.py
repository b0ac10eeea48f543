"""Figures over exported runs: the same expressions as over a store, worked out by DuckDB or by Spark.

Both read the Parquet files where they lie. The tallies are worked out once, on opening, and kept by the
engine; every figure is then a small question.
"""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, Self

import ibis
import ibis.expr.types as ir
import pandas as pd
from ibis.backends import BaseBackend

from assistant.errors import InputError, LogError
from assistant.fleet.export import TABLES
from assistant.fleet.mark import is_export
from assistant.fleet.schema import Base, Quarantine, Run, Tablet, Tally, Trend
from assistant.fleet.tables import named
from assistant.fleet.tally import counts, levels, sums

_KEPT: Final = {Tally: counts, Trend: sums}
_NEVER_EXPORTED: Final[tuple[type[Base], ...]] = (Tablet, Quarantine)


class Exported(ABC):
    """An exported folder that is asked for figures; as `assistant.fleet.store.Store`, but for reading only.

    Raises `InputError` when the folder is no export, or what the engine needs is not installed.
    """

    def __init__(self, folder: Path) -> None:
        if not is_export(folder):
            raise InputError(f"{folder} is no export: make one with hitchcall debrief LOGS --parquet FOLDER.")
        if not any((folder / Run.__tablename__).glob("*/*/part.parquet")):
            raise InputError(f"The export {folder} holds no run.")
        self.place = str(folder)
        self._folder = folder.absolute()
        self._asked = threading.Lock()
        self._backend = self._open()
        for table in TABLES:
            self._read(table)
        for table in _NEVER_EXPORTED:
            self._backend.create_view(table.__tablename__, self._none_of(table))
        for kept, cells in _KEPT.items():
            name = kept.__tablename__
            self._keep(name, levels(self._hold(f"{name}_cells", cells(named(Run)))))

    def frame(self, told: ir.Table, given: Mapping[ir.Scalar, str] | None = None) -> pd.DataFrame:
        """Return what an expression over the store's tables comes to, its parameters ``given``."""
        with self._asked:
            try:
                found = self._backend.execute(told, params=given)
            except Exception as error:  # whatever the engine raises, in one sentence
                reason = (str(error).strip() or type(error).__name__).splitlines()[0]
                raise LogError(f"The export {self.place} does not answer: {reason.rstrip('.')}.") from error
        assert isinstance(found, pd.DataFrame)  # noqa: S101 - a table comes to a frame, for the type checker
        return found

    def close(self) -> None:
        """Let go of the engine."""
        self._backend.disconnect()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None:
        self.close()

    def _none_of(self, table: type[Base]) -> ir.Table:
        """Return a table of no rows: what is never exported, but may be asked for."""
        kinds = named(table).schema()
        empty = {name: ibis.null(kind) for name, kind in kinds.items()}
        return named(Run).select(**empty).limit(0)

    @abstractmethod
    def _open(self) -> BaseBackend:
        """Start the engine."""

    @abstractmethod
    def _read(self, table: type[Base]) -> None:
        """Let the engine know a table by its name."""

    @abstractmethod
    def _keep(self, name: str, told: ir.Table) -> None:
        """Work a table out and keep it."""

    def _hold(self, name: str, told: ir.Table) -> ir.Table:
        """Work a table out that is asked for several times by one question."""
        self._keep(name, told)
        return ibis.table(told.schema(), name=name)


class ByDuckDB(Exported):
    """Worked out in this process by DuckDB."""

    def _open(self) -> BaseBackend:
        return ibis.duckdb.connect()

    def _read(self, table: type[Base]) -> None:
        name = table.__tablename__
        files = str(self._folder / name / "*" / "*" / "part.parquet").replace("'", "''")
        columns = ", ".join(named(table).columns)
        self._backend.raw_sql(
            f"CREATE VIEW {name} AS SELECT {columns} FROM read_parquet('{files}', hive_partitioning = true, "  # noqa: S608
            "hive_types = {'month': VARCHAR, 'site': VARCHAR})"
        )

    def _keep(self, name: str, told: ir.Table) -> None:
        self._backend.create_table(name, told)


class BySpark(Exported):
    """Worked out by Spark; needs the extra "spark" and Java.

    Spark finds its cluster as it always does (``SPARK_CONF_DIR``, ``spark-submit``); without one it runs in
    this machine's processors. ``settings`` are Spark's own.
    """

    def __init__(self, folder: Path, settings: dict[str, str] | None = None) -> None:
        self._settings = {"spark.ui.enabled": "false", **(settings or {})}
        self._session: Any = None
        super().__init__(folder)

    def _open(self) -> BaseBackend:
        try:
            from pyspark.errors import PySparkException  # noqa: PLC0415 - only with the extra "spark"
            from pyspark.sql import SparkSession  # noqa: PLC0415 - as above
        except ImportError as error:
            raise InputError("Spark needs its extra: pip install 'hitchcall[spark]'.") from error
        builder = SparkSession.builder.appName("hitchcall")
        for name, value in self._settings.items():
            builder = builder.config(name, value)
        try:
            self._session = builder.getOrCreate()
        except PySparkException as error:
            raise InputError("Spark does not start: is Java there (Debian: default-jre-headless)?") from error
        # A month and a site are text, whatever they look like.
        self._session.conf.set("spark.sql.sources.partitionColumnTypeInference.enabled", "false")
        return ibis.pyspark.connect(self._session)

    def _read(self, table: type[Base]) -> None:
        from ibis.backends.pyspark.datatypes import PySparkSchema  # noqa: PLC0415 - only with the extra "spark"

        name, columns = table.__tablename__, named(table)
        known = PySparkSchema.from_ibis(columns.schema())  # told, so that no file is opened to find it out
        found = self._session.read.schema(known).parquet(str(self._folder / name))
        found.select(*columns.columns).createOrReplaceTempView(name)

    def _keep(self, name: str, told: ir.Table) -> None:
        kept = self._session.sql(ibis.to_sql(told, "pyspark")).cache()
        kept.createOrReplaceTempView(name)

    def close(self) -> None:
        """Let go of Spark."""
        self._session.stop()
