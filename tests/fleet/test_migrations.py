"""The tables: what the migrations make is what the program expects, and a store from the future is left alone."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from made_runs import Made

from assistant.errors import LogError
from assistant.fleet import figures
from assistant.fleet import store as store_module
from assistant.fleet.filters import Mask
from assistant.fleet.intake import take_in
from assistant.fleet.schema import Base, Hearing, Reading, Refusal, Run, Tablet, Visit
from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared
from tests.fleet.conftest import Empty
from tests.fleet.contents import contents


def test_the_migrations_make_the_tables_the_program_asks(store: Store) -> None:
    """Hazard: a column is added to the program and not to the stores that trainers have."""
    with store.reading() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
        for table in Base.metadata.sorted_tables:
            found = sa.inspect(connection).get_pk_constraint(table.name)["constrained_columns"]
            assert found == [column.name for column in table.primary_key], table.name


def test_opened_again_nothing_changes(empty: Empty) -> None:
    """Promise: a store is brought up to date once, and opening it again leaves it as it is."""
    place = empty()
    told = []
    for _ in range(2):
        with Store(place) as store, store.reading() as connection:
            told.append(connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar())
    assert told[0] == told[1]
    assert told[0]


def copied(fresh: Store, old: Store) -> None:
    """Put the rows of one store into one of an older version, as far as it has columns for them."""
    with fresh.reading() as given, old.writing() as taking:
        for table in (Tablet, Run, Visit, Refusal, Hearing, Reading):
            known = {column["name"] for column in sa.inspect(taking).get_columns(table.__tablename__)}
            columns = [column for column in table.__table__.columns if column.name in known]
            rows = [dict(row._mapping) for row in given.execute(sa.select(*columns))]
            if rows:
                taking.execute(
                    sa.Table(
                        table.__tablename__, sa.MetaData(), *(sa.Column(one.name, one.type) for one in columns)
                    ).insert(),
                    rows,
                )


def test_a_store_of_the_first_version_is_carried_over(
    empty: Empty, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared
) -> None:
    """Hazard: a trainer's store of years is lost, or shows nothing, after the program was updated."""
    made = Made(tmp_path / "logs", tablets["one"], couple, run="run-a")
    made.say("pulling-away")
    made.writer.close()
    place = empty()
    with Store(empty()) as fresh:
        take_in(fresh, [tmp_path / "logs"], workers=1)
        wanted = contents(fresh)
        with monkeypatch.context() as patch:
            patch.setattr(store_module, "_NEWEST", "0001")
            with Store(place) as old:
                copied(fresh, old)
    assert wanted["tally"]
    with Store(place) as new:
        assert take_in(new, [tmp_path / "logs"], workers=1).unchanged == 1
        assert contents(new) == wanted
        assert int(figures.refusals(new, mask=Mask(0, 0))["refusals"].sum()) == 1


def test_a_store_of_a_newer_program_is_refused(empty: Empty) -> None:
    """Hazard: an old program writes into tables it does not understand."""
    place = empty()
    with Store(place) as store, store.writing() as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(LogError, match="made by a newer program"):
        Store(place)
