"""The newest runs and readings are walked to along an index: a page costs the same however many older ones there are."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import ibis.expr.types as ir
import pandas as pd
import pytest
from made_runs import Made, with_mistakes

from assistant.fleet import drift, pages
from assistant.fleet import store as store_module
from assistant.fleet.filters import Filter, Mask
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared
from tests.fleet.cluster import Cluster

CHOSEN = {
    "all": Filter(),
    "a site": Filter(site="us-handbook"),
    "a rig": Filter(rig="fixed-spring"),
    "a procedure": Filter(procedure="couple"),
    "a month": Filter(first_month="2027-01", last_month="2027-01"),
}
_SORTS = re.compile(r"USE TEMP B-TREE|(?<!Incremental )\bSort\b(?! Key)")
"""What SQLite and PostgreSQL call putting in order all they have found."""


class Explained:
    """A store that also tells how it would go about each question."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.plans: list[str] = []

    def frame(self, told: ir.Table, given: Mapping[ir.Scalar, str] | None = None) -> pd.DataFrame:
        """Note the plan, and answer."""
        given = given or {}
        asked = store_module._sql(told.op(), tuple(name.op() for name in given), sqlite=self._store.sqlite)
        values = {f"given_{place}": value for place, value in enumerate(given.values())}
        with self._store.reading() as connection:
            if not self._store.sqlite:  # a handful of rows is quicker sorted, so that is made dear
                for way in ("sort", "seqscan", "bitmapscan"):
                    connection.exec_driver_sql(f"SET LOCAL enable_{way} = off")
            how = "EXPLAIN QUERY PLAN" if self._store.sqlite else "EXPLAIN"
            self.plans.append("\n".join(map(str, connection.exec_driver_sql(f"{how} {asked}", values or None))))
        return self._store.frame(told, given)


@pytest.fixture
def explained(store: Store, tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared) -> Explained:
    """A store with a run in it."""
    with_mistakes(Made(tmp_path / "logs", tablets["one"], couple, run="run-a"))
    assert take_in(store, [tmp_path / "logs"], workers=1).new == 1
    return Explained(store)


@pytest.mark.parametrize("name", CHOSEN)
def test_no_list_puts_all_in_order_to_show_the_newest(explained: Explained, name: str) -> None:
    """Hazard: a trainer waits half a second for a page, because every reading of years was sorted for the newest."""
    chosen = CHOSEN[name]
    pages.run_list(explained, chosen)
    drift.reading_points(explained, "working-pressure", chosen, Mask(0, 0))
    assert len(explained.plans) == 2
    for plan in explained.plans:
        assert "INDEX" in plan.upper()
        assert not _SORTS.search(plan), plan


def test_what_is_asked_of_postgresql_is_planned_for_a_disk_of_today(cluster: Cluster) -> None:
    """Hazard: the server reads a whole table for a few hundred rows, or compiles for longer than a page may take."""
    with Store(cluster.address()) as store:
        for _ in range(2):  # two connections, and then both again from the pool
            with store.reading() as one, store.reading() as other:
                for connection in (one, other):
                    assert connection.exec_driver_sql("SHOW random_page_cost").scalar() == "1.1"
                    assert connection.exec_driver_sql("SHOW jit").scalar() == "off"
