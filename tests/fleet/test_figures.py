"""Every statistic, on every engine, against the same worked out by pandas straight from the logs."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_runs import Made, with_mistakes

from assistant.fleet import drift, figures, filters, write
from assistant.fleet.export import export
from assistant.fleet.exported import ByDuckDB, BySpark
from assistant.fleet.filters import Filter, Mask
from assistant.fleet.intake import take_in
from assistant.fleet.store import Store
from assistant.journal.keeping import forget
from assistant.journal.keys import tablet_key
from assistant.practice.making import make_runs
from assistant.prepare import Prepared
from tests.fleet.by_pandas import UNDONE, Read, quantile, read, summed

ENGINES = ("sqlite", "postgresql", "duckdb", "spark")
STORES = ENGINES[:2]
OPEN = Mask(0, 0)
SMALL = {
    "spark.master": "local[1]", "spark.sql.shuffle.partitions": "1", "spark.sql.adaptive.enabled": "false",
    "spark.sql.codegen.wholeStage": "false", "spark.sql.codegen.factoryMode": "NO_CODEGEN",
    "spark.ui.showConsoleProgress": "false",
    "spark.driver.extraJavaOptions": "-XX:+UseSerialGC -XX:TieredStopAtLevel=1",
}  # fmt: skip
"""Spark's own settings for little work on a small machine."""

CHOSEN: dict[str, tuple[dict[str, object], Filter]] = {
    "work": ({"practice": False}, Filter()),
    "everything": ({}, Filter(practice=None)),
    "one site": ({"practice": False, "site": "depot-lines-first"}, Filter(site="depot-lines-first")),
    "one rig and procedure": ({"practice": False, "rig": "slider-air", "procedure": "couple"}, Filter(rig="slider-air", procedure="couple")),
    "some months": ({"practice": False, "first_month": "2031-03", "last_month": "2031-04"}, Filter(first_month="2031-03", last_month="2031-04")),
}  # fmt: skip


@pytest.fixture(scope="session")
def logs(tmp_path_factory: pytest.TempPathFactory, couple: Prepared) -> Path:
    """Runs of the automatic driver over ten weeks, a practice run, a failed coupling, and a forgotten one."""
    home = tmp_path_factory.mktemp("fleet")
    logs = home / "logs"
    for _ in make_runs(
        logs, 22, seed=11, days=70, rigs=("slider-air", "fixed-spring"), sites=("us-handbook", "depot-lines-first"),
        procedures=("couple", "couple", "uncouple", "wear-check"), call_signs=("", "Yard A", "Yard B", "Yard C"), careless=0.4,
    ):  # fmt: skip
        pass
    keys = [tablet_key(home / "more" / name) for name in ("one", "two")]
    with_mistakes(Made(logs, keys[0], couple, run="mistakes", call_sign="Yard A"))
    with_mistakes(Made(logs, keys[1], couple, run="classroom", notes=("practice",), call_sign="Yard B"))
    forgotten = Made(logs, keys[1], couple, run="forgotten", call_sign="Yard C")
    forgotten.mumble()
    forget(forgotten.end(), keys[1], "asked")
    return logs


@pytest.fixture(scope="session")
def whole(logs: Path) -> Read:
    """All of it, read by pandas."""
    told = read(sorted(logs.glob("*/log.jsonl")))
    assert len(told.runs) == 25
    return told


@pytest.fixture(scope="session")
def worked_out() -> dict[tuple[str, str], pd.DataFrame]:
    """What pandas found, once for all engines."""
    return {}


@pytest.fixture(scope="session", params=ENGINES)
def fleet(request: pytest.FixtureRequest, logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The runs in every place figures are asked of."""
    home = tmp_path_factory.mktemp("engines")
    if request.param == "postgresql":
        with Store(request.getfixturevalue("cluster").address()) as store:
            _in_parts(store, logs)
            yield store
        return
    with Store(home / "fleet.sqlite") as store:
        _in_parts(store, logs)
        if request.param == "sqlite":
            yield store
            return
        assert export(store, home / "exported").runs == 25
    if request.param == "duckdb":
        with ByDuckDB(home / "exported") as exported:
            yield exported
        return
    if not os.environ.get("HITCHCALL_CHECK"):
        pytest.importorskip("pyspark", reason="Spark is not installed; ./check installs it")
    with BySpark(home / "exported", SMALL) as exported:
        yield exported


def _in_parts(store: Store, logs: Path) -> None:
    """Take the runs in, four counted at a time, as an intake of thousands does, and half of them a second time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(write, "_COUNTED", 4)
        runs = sorted(logs.iterdir())
        for some in (runs[::2], runs):
            take_in(store, some, workers=1)


def same(found: pd.DataFrame, wanted: pd.DataFrame, mask: Mask = OPEN) -> None:
    """Hold a figure against pandas': the same groups in the same order, the same numbers, the same masks."""
    people = wanted["people"]
    wanted = wanted.drop(columns="people")
    masked = (wanted["runs"] < mask.runs) | (people < mask.people)
    assert list(found["masked"]) == list(masked)
    assert set(found.columns) == {*wanted.columns, "masked"}
    for name in wanted.columns:
        numbers = pd.api.types.is_numeric_dtype(wanted[name]) and name not in {"band"}
        told = [None if hidden and numbers else value for value, hidden in zip(wanted[name], masked, strict=True)]
        assert [None if pd.isna(value) else value for value in found[name]] == told, name


def count(group: pd.DataFrame) -> int:
    """How many rows there are."""
    return len(group)


def timed(told: pd.DataFrame, by: list[str], column: str, **more: Any) -> pd.DataFrame:
    """How many, and how long they took."""
    return summed(
        told, by, **more, median_s=lambda group: quantile(group[column], 0.5), p90_s=lambda group: quantile(group[column], 0.9)
    )  # fmt: skip


def step_times(told: Read) -> pd.DataFrame:
    """Time to the answer, by step."""
    return timed(told.answers, ["procedure", "step"], "took", visits=count)


def by_phrase(told: Read) -> pd.DataFrame:
    """What it took until an answer counted."""
    return summed(
        told.answers, ["answer"], visits=count,
        not_understood=lambda group: int(group["missed"].sum()), asked_again=lambda group: int(group["again"].sum()),
    )  # fmt: skip


def by_site(told: Read) -> pd.DataFrame:
    """What was not understood at a site; a run counts once for each band of noise it met."""
    heard = told.hearings.assign(band=told.hearings["band"].fillna(1000))
    return summed(
        heard, ["site"], hearings=count, not_understood=lambda group: int(group["missed"].sum()),
        runs=lambda group: len(group.drop_duplicates(["key", "band"])),
    )  # fmt: skip


def failures(told: Read) -> pd.DataFrame:
    """Failed couplings, and runs that were done after them."""
    return summed(
        told.runs, ["procedure"], failed=lambda group: int((group["failures"] > 0).sum()),
        recovered=lambda group: int(((group["failures"] > 0) & ~group["outcome"].isin(UNDONE)).sum()),
        failures=lambda group: int(group["failures"].sum()),
    )  # fmt: skip


def limits(told: Read) -> pd.DataFrame:
    """Readings by limit."""
    return summed(
        told.readings, ["limit_name", "base_unit"], n=count, outside=lambda group: int(group["outside"].sum()),
        lowest=lambda group: int(group["milli"].min()), highest=lambda group: int(group["milli"].max()),
        mean=lambda group: int(group["milli"].sum() // len(group)),
    )  # fmt: skip


WANTED: dict[str, tuple[Callable[..., pd.DataFrame], Callable[[Read], pd.DataFrame]]] = {
    "outcomes": (figures.outcomes, lambda told: summed(told.runs, ["procedure", "outcome"])),
    "procedure times": (
        figures.procedure_times, lambda told: timed(told.runs[~told.runs["outcome"].isin(UNDONE)], ["procedure"], "lasted")
    ),
    "step times": (figures.step_times, step_times),
    "refusals": (figures.refusals, lambda told: summed(told.refusals, ["procedure", "refused"], refusals=count)),
    "by phrase": (figures.not_understood_by_phrase, by_phrase),
    "by noise": (
        figures.not_understood_by_noise,
        lambda told: summed(told.hearings.dropna(subset="band"), ["band"], hearings=count, not_understood=lambda group: int(group["missed"].sum())),
    ),
    "by site": (figures.not_understood_by_site, by_site),
    "failures": (figures.failures, failures),
    "limits": (drift.limits_read, limits),
}  # fmt: skip


@pytest.mark.parametrize("name", WANTED)
def test_every_figure_is_what_pandas_finds_in_the_logs(
    fleet: Any, whole: Read, worked_out: dict[tuple[str, str], pd.DataFrame], name: str
) -> None:
    """Hazard: a figure that looks right and is wrong, on one engine or on all. With the usual masks and with none."""
    for which, (chosen, asked) in CHOSEN.items():
        if isinstance(fleet, BySpark) and which != "work":
            continue  # the filters are the same expressions; each question costs Spark a second
        if (name, which) not in worked_out:
            worked_out[name, which] = WANTED[name][1](whole.of(**chosen))
        both = which == "work" and not isinstance(fleet, BySpark)
        for mask in (OPEN, Mask()) if both else (OPEN,):
            same(WANTED[name][0](fleet, asked, mask), worked_out[name, which], mask)
    assert len(worked_out[name, "work"]) > 1


@pytest.mark.parametrize("walk", [7, {"see-jaw": 15, "pressure": 25}])
def test_too_fast_is_what_pandas_finds(fleet: Any, whole: Read, walk: int | dict[str, int]) -> None:
    """Promise: answers that came before the walk was possible, by the trainer's own times."""
    told = whole.of(practice=False).answers
    if isinstance(walk, dict):
        told = told[told["step"].isin(list(walk))]

    def walking(step: str) -> int:
        return {7: 7, 15: 15, 25: 24}[walk if isinstance(walk, int) else walk[step]]

    wanted = summed(
        told, ["procedure", "step"], visits=count,
        too_fast=lambda group: int((group["took"] < walking(group["step"].iloc[0])).sum()),
        walking_s=lambda group: walking(group["step"].iloc[0]),
    )  # fmt: skip
    found = figures.too_fast(fleet, walk, Filter(), OPEN)
    same(found, wanted)
    assert found["too_fast"].sum() > 0


def test_a_drift_is_the_line_numpy_draws(fleet: Any, whole: Read) -> None:
    """Promise: the line through readings is least squares' line, and the days left are where it meets the bound."""
    drawn = 0
    told = whole.of(practice=False).readings
    for name, group in told.groupby("limit_name"):
        if isinstance(fleet, BySpark) and drawn >= 2:
            break
        found = drift.drifts(fleet, {str(name): [None]}, Filter(), OPEN)[str(name)][0]
        y = group["milli"].to_numpy() / 1000
        assert (found.n, found.base_unit) == (len(group), group["base_unit"].iloc[0])
        assert float(found.mean or 0) == pytest.approx(y.mean(), abs=0.001)
        if group["day"].nunique() < 2:
            assert found.slope is None
            continue
        slope, start = np.polyfit(group["day"], y, 1)
        last = slope * group["day"].max() + start
        assert float(found.slope or 0) == pytest.approx(slope * 30, abs=0.001)
        assert float(found.latest or 0) == pytest.approx(last, abs=0.01)
        bound = Decimal(str(round(last + slope * 40.5, 3)))
        met = drift.drifts(fleet, {str(name): [(bound, found.base_unit)]}, Filter(), OPEN)[str(name)]
        left = met[0].days_left
        assert left in ({39, 40, 41} if abs(slope) > 0.01 else {left})
        drawn += 1
    assert drawn >= 2


def test_points_are_all_readings_of_what_was_chosen(fleet: Any, whole: Read) -> None:
    """Hazard: a reading on the first or last day of a month, or of another month, and the drawing misleads.

    Where there are more than are shown, it is the newest that are.
    """
    drawn = 0
    for which, (chosen, asked) in CHOSEN.items():
        for name, group in whole.of(**chosen).readings.groupby("limit_name"):
            if isinstance(fleet, BySpark) and (which != "some months" or drawn):
                continue
            found = drift.reading_points(fleet, str(name), asked, OPEN)
            assert sorted(zip(found["day"], found["milli"], strict=True)) == sorted(
                zip(group["day"], group["milli"], strict=True)
            ), (which, name)
            newest = drift.reading_points(fleet, str(name), asked, OPEN, most=3)
            assert list(newest["day"]) == sorted(group["day"])[-3:], (which, name)
            drawn += 1
    assert drawn


@given(st.dates(min_value=date(1970, 1, 1), max_value=date(2199, 12, 31)))
def test_a_day_lies_in_its_own_month(day: date) -> None:
    """Promise: every day is of one month only, whatever its length and the year."""
    number, month = (day - date(1970, 1, 1)).days, f"{day:%Y-%m}"
    assert filters.first_day(month) <= number < filters.first_day(month, after=1)


def test_what_can_be_chosen_is_what_there_is(fleet: Any, whole: Read) -> None:
    """Promise: the filters offer the procedures, sites, rigs and months there are."""
    found = figures.choices(fleet)
    assert found == {name: sorted(whole.runs[name].unique()) for name in ("procedure", "site", "rig", "month")}
