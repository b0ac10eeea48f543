"""Keeping the tallies: worked out anew for each procedure's month whose rows have changed.

They are a function of the rows and nothing else, so they can never drift from them. A month's mark is
cleared in the transaction that writes its tallies; a crash leaves the mark, and the next opening goes on.
"""

from __future__ import annotations

from collections.abc import Callable

import ibis
import sqlalchemy as sa

from assistant.fleet.schema import Stale, Tally, Trend
from assistant.fleet.store import Store
from assistant.fleet.tables import RUN
from assistant.fleet.tally import counted, tally, trend


def catch_up(store: Store, progress: Callable[[int, int], None] | None = None) -> int:
    """Bring all tallies up to date; returns how many (procedure, month) were behind."""
    with store.reading() as connection:
        behind = [
            tuple(row) for row in connection.execute(sa.select(Stale.procedure, Stale.month).order_by(Stale.month))
        ]
    for done, (procedure, month) in enumerate(behind):
        _one(store, procedure, month)
        if progress is not None:
            progress(done + 1, len(behind))
    if behind:
        _look_again(store)
    return len(behind)


def _one(store: Store, procedure: str, month: str) -> None:
    runs = counted(RUN).filter(RUN.procedure == procedure, RUN.month == month)
    dialect = "sqlite" if store.sqlite else "postgres"
    with store.writing() as connection:
        for kept, told in ((Tally, tally(runs)), (Trend, trend(runs))):
            table = kept.__table__
            connection.execute(sa.delete(kept).where(kept.procedure == procedure, kept.month == month))
            names = [column.name for column in table.columns]
            asked = ibis.to_sql(told.select(*names), dialect)
            connection.exec_driver_sql(f"INSERT INTO {kept.__tablename__} ({', '.join(names)}) {asked}")
        connection.execute(sa.delete(Stale).where(Stale.procedure == procedure, Stale.month == month))


def _look_again(store: Store) -> None:
    """Let the database learn how much there is of what, so that it finds the short ways."""
    with store.writing() as connection:
        connection.exec_driver_sql("PRAGMA optimize" if store.sqlite else "ANALYZE")
