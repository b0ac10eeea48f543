"""The many-runs views show the fleet's figures, with their masks and nothing else."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pyarrow.parquet as pq
import pytest

from assistant.debrief.asked import Asked
from assistant.debrief.blocks import Table
from assistant.debrief.names import Names
from assistant.debrief.plots import Bars, Points, picture, svg
from assistant.debrief.tables import table_bytes
from assistant.debrief.views import VIEWS, Views
from assistant.errors import InputError
from assistant.fleet import figures
from assistant.fleet.filters import Filter
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, logs: Path) -> Iterator[Store]:
    """A store with the folder taken in."""
    with Store(tmp_path_factory.mktemp("store") / "fleet.sqlite") as made:
        take_in(made, [logs], workers=1)
        yield made


@pytest.fixture(scope="module")
def views(store: Store) -> Views:
    """The views over it."""
    return Views(store)


def column(table: Table, name: str) -> list[object]:
    """One column of a table."""
    at = [one.name for one in table.columns].index(name)
    return [row[at] for row in table.rows]


def numbers(values: pd.Series) -> list[object]:
    """A figure's numbers, None where masked."""
    return [None if pd.isna(one) else int(one) for one in values]


def test_every_number_is_the_figures_own(views: Views, store: Store) -> None:
    """Promise: the page adds nothing to the figures and takes nothing away: they are equal, masks included."""
    asked = Asked(walk=12)
    pairs = {
        "times": (figures.step_times(store), 1, ("visits", "runs", "median_s", "p90_s")),
        "refusals": (figures.refusals(store), 0, ("refusals", "runs")),
        "understood": (figures.not_understood_by_phrase(store), 0, ("visits", "not_understood", "asked_again")),
        "fast": (figures.too_fast(store, 12), 0, ("visits", "too_fast", "walking_s")),
        "failures": (figures.failures(store), 0, ("runs", "failed", "recovered", "failures")),
    }
    for name, (found, at, names) in pairs.items():
        shown = views.show(name, asked)
        assert shown is not None
        table = shown.tables[at]
        for number in names:
            assert sorted(map(str, column(table, number))) == sorted(map(str, numbers(found[number]))), (name, number)
        assert len(table.masked) == int(found["masked"].sum())
    assert any(int(found["masked"].sum()) for found, _, _ in pairs.values())


def test_what_is_masked_is_in_no_plot(views: Views) -> None:
    """Hazard: a number that the table hides is read off the plot."""
    for name in VIEWS:
        shown = views.show(name, Asked())
        assert shown is not None
        for plot in shown.seen:
            if isinstance(plot, Bars) and len(shown.tables) == 1:
                open_rows = [row for at, row in enumerate(shown.tables[0].rows) if at not in shown.tables[0].masked]
                assert len(plot.labels) <= len(open_rows)


def test_a_step_has_its_own_walking_time(views: Views) -> None:
    """Promise: the trainer sets the walk for all steps, and for one that lies further off."""
    shown = views.show("fast", Asked(walk=1, walks={"see-jaw": 30}))
    assert shown is not None
    table = shown.tables[0]
    walks = dict(zip(column(table, "step"), column(table, "walking_s"), strict=True))
    fast = dict(zip(column(table, "step"), column(table, "too_fast"), strict=True))
    assert walks["see jaw"] == 30
    assert set(walks.values()) == {1, 30}
    assert fast["see jaw"] > 0
    assert fast["tug"] == 0


def test_steps_stand_in_the_order_they_are_done(views: Views, store: Store) -> None:
    """Promise: nobody and nothing is ranked; a table of steps reads like the procedure."""
    shown = views.show("times", Asked())
    assert shown is not None
    names = Names()
    steps = [str(one).replace(" ", "-") for one in column(shown.tables[1], "step")]
    places = [names.place("couple", one) for one in steps]
    assert places == sorted(places)
    assert steps.index("tractor-brake") < steps.index("see-pin") < steps.index("see-jaw")
    assert len(steps) == len(figures.step_times(store))


def test_people_are_shown_only_when_asked_for(views: Views) -> None:
    """Hazard: a ranking of drivers by accident. Without the explicit choice there is no name and no number."""
    shown = views.show("person", Asked())
    assert shown is not None
    assert (shown.tables, shown.plots, shown.people) == ((), (), ())
    asked = views.show("person", Asked(by_person=True))
    assert asked is not None
    assert asked.people == ("Yard A", "Yard B", "Yard C", "Yard D")
    assert column(asked.tables[0], "refusals") == [None] * 4
    one = views.show("person", Asked(by_person=True, call_sign="Yard A"))
    assert one is not None
    assert len(one.tables[1].masked) == len(one.tables[1].rows) > 20
    nobody = views.show("person", Asked(by_person=True, call_sign="Somebody Else"))
    assert nobody is not None
    assert len(nobody.tables) == 1
    for name in VIEWS:
        usual = views.show(name, Asked())
        assert usual is not None
        assert "Yard" not in str(usual.tables)


def test_readings_that_creep_are_told_with_the_bound_they_near(views: Views) -> None:
    """Promise: a pressure that rises a little each week is seen before it is out of its limit."""
    shown = views.show("readings", Asked(Filter(rig="slider-air", site="us-handbook")))
    assert shown is not None
    (row,) = shown.tables[0].rows
    told = dict(zip([one.name for one in shown.tables[0].columns], row, strict=True))
    assert (told["limit"], told["unit"], told["bound"], told["outside"]) == ("working pressure", "psi", 145, 0)
    assert told["slope"] > 1
    assert 0 < told["left"] < 1000
    (plot,) = shown.seen
    assert isinstance(plot, Points)
    assert plot.bounds == (100.0, 145.0)
    assert min(plot.values) == told["lowest"]


def test_a_filter_leaves_out_the_rest(views: Views) -> None:
    """Promise: filters by month, site, rig, procedure and practice are the figures' own."""
    for chosen in (
        Filter(site="nowhere"),
        Filter(practice=True),
        Filter(first_month="2040-01"),
        Filter(procedure="uncouple"),
    ):
        for name in VIEWS:
            shown = views.show(name, Asked(chosen))
            assert shown is not None
            assert all(not table.rows for table in shown.tables), (chosen, name)
            assert shown.seen == ()
    assert len(views.runs(Filter())) == 10
    assert [row["quarantined"] for row in views.runs(Filter(site="nowhere"))] == [True]


def test_tables_come_out_as_csv_and_parquet(views: Views) -> None:
    """Promise: a trainer's own spreadsheet gets the same numbers, with what is masked empty and said to be so."""
    for name in VIEWS:
        shown = views.show(name, Asked(by_person=True))
        assert shown is not None
        for table in shown.tables:
            rows = list(csv.reader(io.StringIO(table_bytes(table, "csv").decode())))
            frame = pq.read_table(io.BytesIO(table_bytes(table, "parquet"))).to_pylist()
            assert rows[0] == [*(one.name for one in table.columns), "masked"]
            assert len(rows) - 1 == len(frame) == len(table.rows)
            for at, (row, line, record) in enumerate(zip(table.rows, rows[1:], frame, strict=True)):
                assert line[:-1] == ["" if one is None else str(one) for one in row]
                assert [record[one.name] for one in table.columns] == list(row)
                assert (line[-1] == "yes") is record["masked"] is (at in table.masked)
    with pytest.raises(InputError, match="csv or parquet"):
        table_bytes(Table("t", (), []), "xls")


def test_no_cell_becomes_a_formula() -> None:
    """Hazard: a call sign "=HYPERLINK(…)" runs in the trainer's spreadsheet."""
    from assistant.debrief.blocks import Column

    evil = ["=1+1", "+1", "-1", "@x", "\tx"]
    made = table_bytes(Table("t", (Column("a", "A"),), [(one,) for one in evil]), "csv").decode()
    assert all(line.startswith(("'", "\"'")) for line in made.splitlines()[1:])


def test_plots_are_readable_and_say_what_they_show() -> None:
    """Promise: title, unit and words in place of the picture; the same plot gives the same file; no script in it."""
    bars = Bars("Refusals by rule", "refusals", ("a <b>", "c"), (3, None), (1, 2), "own", "all")
    drawn = svg(bars)
    assert drawn == svg(bars)
    assert b"<script" not in drawn
    assert b"<!-- Refusals by rule -->" in drawn
    assert b"<!-- refusals -->" in drawn
    assert bars.alt() == "Refusals by rule (refusals). Most: a <b>, 3."
    made = picture(bars)
    assert made.drawn("png").startswith(b"\x89PNG")
    assert not Bars("t", "u", ("a",), (None,)).worth
