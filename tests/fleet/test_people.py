"""Figures of single people, on both databases: only when asked for, only of who chose to be named, never ranked."""

from __future__ import annotations

from pathlib import Path

import pytest
from made_runs import Made

from assistant.errors import InputError
from assistant.fleet import figures, person
from assistant.fleet.filters import Filter, Mask
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store
from assistant.journal.keeping import forget
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared
from tests.fleet.by_pandas import Read, quantile, read, summed


@pytest.fixture(scope="module")
def logs(tmp_path_factory: pytest.TempPathFactory, tablets: dict[str, TabletKey], couple: Prepared) -> Path:
    """Five runs each of two call signs, one run of a third, two without, and one whose words were forgotten."""
    logs = tmp_path_factory.mktemp("logs")
    signs = ["Yard B", "Yard A"] * 5 + ["Yard C", "", "", "Yard A"]
    for number, sign in enumerate(signs):
        made = Made(logs, tablets["one"], couple, run=f"run-{number:02d}", call_sign=sign, pace_ms=2_000 + 700 * number)
        made.good()
        for _ in range(number % 3):
            made.say("pulling-away")
        made.good()
        made.writer.close()
    forget(logs / "run-13", tablets["one"], "asked")
    return logs


@pytest.fixture
def told(logs: Path) -> Read:
    """All of it, read by pandas."""
    return read(sorted(logs.glob("*/log.jsonl")))


def test_call_signs_stand_by_name_and_small_ones_are_masked(store: Store, logs: Path, told: Read) -> None:
    """Promise: in the order of names, with what pandas finds; whoever has few runs, or had them forgotten, is not told."""
    take_in(store, [logs], workers=1)
    found = person.call_signs(store, by_person=True)
    assert list(found["call_sign"]) == ["Yard A", "Yard B", "Yard C"]
    assert list(found["masked"]) == [False, False, True]
    named = told.runs[told.runs["call_sign"] != ""]
    assert list(found["runs"][:2]) == [5, 5] == list(named.groupby("call_sign").size())[:2]
    refused = told.refusals.groupby("call_sign").size()
    assert list(found["refusals"][:2]) == [refused["Yard A"], refused["Yard B"]]
    assert found.iloc[2][["runs", "failed", "refusals"]].isna().all()


def test_one_is_held_against_the_group(store: Store, logs: Path, told: Read) -> None:
    """Promise: one's own times beside everybody's, each as pandas finds them."""
    take_in(store, [logs], workers=1)
    found = person.against_group(store, "Yard B", Filter(), Mask(5, 1), by_person=True)
    by = ["procedure", "step"]
    own = summed(told.of(call_sign="Yard B").answers, by, visits=len, half=lambda group: quantile(group["took"], 0.5))
    all_ = summed(told.answers, by, visits=len, half=lambda group: quantile(group["took"], 0.5))
    assert list(found["step"]) == list(own["step"])
    assert list(found["own_visits"]) == list(own["visits"])
    assert list(found["own_median_s"]) == list(own["half"])
    assert list(found["visits"]) == [all_.set_index("step")["visits"][step] for step in own["step"]]
    assert list(found["median_s"]) == [all_.set_index("step")["half"][step] for step in own["step"]]


def test_one_s_pace_is_that_of_the_newest_runs(
    store: Store, logs: Path, told: Read, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Promise: a trainee is held against the group by how they work now, with what pandas finds in those runs."""
    take_in(store, [logs], workers=1)
    monkeypatch.setattr(person, "NEWEST", 2)
    found = person.against_group(store, "Yard B", Filter(), Mask(1, 1), by_person=True)
    answers = told.of(call_sign="Yard B").answers
    answers = answers[answers["key"].str.contains("run-06|run-08")]  # the last two of theirs that were made
    own = summed(answers, ["procedure", "step"], visits=len, half=lambda group: quantile(group["took"], 0.5))
    assert list(found["step"]) == list(own["step"])
    assert list(found["own_visits"]) == list(own["visits"])
    assert list(found["own_median_s"]) == list(own["half"])
    assert list(found["visits"]) != list(found["own_visits"])


def test_nobody_is_singled_out_unasked(store: Store, logs: Path) -> None:
    """Hazard: a filter or a figure names one person by a slip of the hand."""
    take_in(store, [logs], workers=1)
    for ask in (
        lambda: person.call_signs(store),
        lambda: person.against_group(store, "Yard A"),
        lambda: Filter(call_sign="Yard A"),
    ):
        with pytest.raises(InputError, match="by person"):
            ask()
    assert "Yard" not in figures.step_times(store, mask=Mask(0, 0)).to_csv()


def test_the_usual_mask_hides_few_runs_and_few_people(store: Store, logs: Path, told: Read) -> None:
    """Hazard: figures of two people are figures of each to the other. Three people and five runs, or nothing."""
    assert Mask() == Mask(runs=5, people=3)
    take_in(store, [logs], workers=1)
    people = told.runs["person"].nunique()  # four; two of them may share a mark
    for mask, hidden in (
        (Mask(14, people), False), (Mask(15, 1), True), (Mask(1, people + 1), True), (Mask(0, 0), False),
    ):  # fmt: skip
        found = figures.outcomes(store, mask=mask)
        assert [bool(one) for one in found["masked"]] == [hidden]
        assert found["runs"].isna().all() if hidden else int(found["runs"].sum()) == 14
