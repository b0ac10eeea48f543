"""Keeping the tallies: worked out anew for each procedure's month in which a run was changed or taken away.

They are a function of the rows and nothing else, so they can never drift from them. A month's mark is
cleared in the transaction that writes its tallies; a crash leaves the mark, and the next intake goes on.
New runs need none of this: `assistant.fleet.adding`.
"""

from __future__ import annotations

from functools import cache

import ibis
import ibis.expr.types as ir
import sqlalchemy as sa

from assistant.fleet.schema import Base, Stale, Tally, Trend
from assistant.fleet.store import Store
from assistant.fleet.tables import RUN, STALE, named
from assistant.fleet.tally import ALL, counted, of_all_months, tally, trend
from assistant.fleet.write import alone

_KEPT: tuple[type[Base], ...] = (Tally, Trend)


def catch_up(store: Store) -> int:
    """Bring all tallies up to date; returns how many (procedure, month) were behind.

    All of them in one statement a table: most of the cost is that of asking at all.
    """
    with store.reading() as connection:
        if not connection.scalar(sa.select(sa.func.count()).select_from(Stale)):
            return 0
    with store.writing() as connection:
        alone(connection)  # nobody may add a run between the counting and the clearing of its month's mark
        for kept in _KEPT:
            name = kept.__tablename__
            behind_it = f"{name}.procedure = stale.procedure AND {name}.month IN (stale.month, '{ALL}')"
            connection.exec_driver_sql(f"DELETE FROM {name} WHERE EXISTS (SELECT 1 FROM stale WHERE {behind_it})")  # noqa: S608
            for filling in _fillings(kept, sqlite=store.sqlite):
                connection.exec_driver_sql(filling)
        behind = connection.execute(sa.delete(Stale)).rowcount
    return int(behind)


@cache
def _fillings(kept: type[Base], *, sqlite: bool) -> tuple[str, str]:
    """Return the statements that work out what is kept of the months that are behind, and then of all months."""
    runs = STALE.join(counted(RUN), ["procedure", "month"]).select(*RUN.columns)
    months = tally(runs) if kept is Tally else trend(runs)
    together = of_all_months(named(kept).semi_join(STALE, "procedure"))
    return _filling(kept, months.filter(months.month != ALL), sqlite=sqlite), _filling(kept, together, sqlite=sqlite)


def _filling(kept: type[Base], told: ir.Table, *, sqlite: bool) -> str:
    names = [column.name for column in kept.__table__.columns]
    asked = ibis.to_sql(told.select(*names), "sqlite" if sqlite else "postgres")
    return f"INSERT INTO {kept.__tablename__} ({', '.join(names)}) {asked}"


def look_again(store: Store) -> None:
    """Let the database learn how much there is of what, so that it finds the short ways."""
    with store.writing() as connection:
        if not store.sqlite:  # looks at six thousand rows of each table instead of thirty thousand
            connection.exec_driver_sql("SET LOCAL default_statistics_target = 20")
        connection.exec_driver_sql("PRAGMA optimize" if store.sqlite else "ANALYZE")
