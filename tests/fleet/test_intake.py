"""What is taken into the store, what is kept aside, and that nothing counts twice."""

from __future__ import annotations

import shutil
from itertools import permutations
from pathlib import Path

import pytest
from made_runs import Made

from assistant.fleet import figures
from assistant.fleet.filters import Mask
from assistant.fleet.intake import take_in
from assistant.fleet.pages import quarantined, run_list
from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey
from assistant.prepare import Prepared


def some(folder: Path, key: TabletKey, couple: Prepared, run: str, answers: int = 3, slip: str = "") -> Path:
    """A run of a few answers, left open; with ``slip`` something is announced too early at its end."""
    made = Made(folder, key, couple, run=run)
    for _ in range(answers):
        made.good()
    if slip:
        made.say(slip)
    made.writer.close()
    return made.folder


def listed(store: Store) -> list[tuple[str, int]]:
    """The runs that are listed, with how many records each has."""
    found = run_list(store)
    return sorted(zip(found["run"], (int(one) for one in found["records"]), strict=True))


def test_the_same_folder_counts_once(
    tmp_path: Path, keys: dict[str, TabletKey], couple: Prepared, store: Store
) -> None:
    """Promise: taken in again, or from a copy of the folder, nothing is counted twice."""
    some(tmp_path / "logs", keys["one"], couple, "run-a")
    assert take_in(store, [tmp_path / "logs"], workers=1).new == 1
    before = listed(store)
    assert take_in(store, [tmp_path / "logs"], workers=1).unchanged == 1
    shutil.copytree(tmp_path / "logs", tmp_path / "copy")
    assert take_in(store, [tmp_path / "copy"], workers=1).known == 1
    assert listed(store) == before


@pytest.mark.parametrize("order", list(permutations(("short", "long"))))
def test_the_longest_copy_of_a_run_counts(
    tmp_path: Path, keys: dict[str, TabletKey], couple: Prepared, store: Store, order: tuple[str, str]
) -> None:
    """Promise: a log taken in while it was young and again when it had grown counts once, with all it holds."""
    long = some(tmp_path / "long", keys["one"], couple, "run-a", answers=5)
    short = tmp_path / "short" / "run-a"
    short.mkdir(parents=True)
    lines = (long / "log.jsonl").read_bytes().splitlines(keepends=True)
    (short / "log.jsonl").write_bytes(b"".join(lines[:-4]))
    for name in order:
        take_in(store, [tmp_path / name], workers=1)
    assert listed(store) == [("run-a", len(lines))]


@pytest.mark.parametrize("order", list(permutations(("here", "there"))))
def test_two_stories_of_one_run_count_nowhere(
    tmp_path: Path, keys: dict[str, TabletKey], couple: Prepared, store: Store, order: tuple[str, str]
) -> None:
    """Hazard: a tablet is put back to an older state and tells the run anew; whichever came first would be believed."""
    some(tmp_path / "here", keys["one"], couple, "run-a")
    some(tmp_path / "there", keys["one"], couple, "run-a", slip="pulling-away")
    for name in order:
        take_in(store, [tmp_path / name], workers=1)
    assert [row for row in run_list(store)["state"] if row != "disputed"] == []
    assert sorted(quarantined(store)["reason"]) == ["conflict", "conflict"]
    for figure in (figures.outcomes, figures.step_times, figures.refusals):
        assert len(figure(store, mask=Mask(0, 0))) == 0


def test_an_altered_log_is_kept_aside_with_its_line(
    tmp_path: Path, keys: dict[str, TabletKey], couple: Prepared, store: Store
) -> None:
    """Hazard: a refusal made into a permission is counted as one."""
    log = some(tmp_path / "logs", keys["one"], couple, "run-a", slip="pulling-away") / "log.jsonl"
    data = log.read_bytes()
    assert b'"kind":"refused"' in data
    log.write_bytes(data.replace(b'"kind":"refused"', b'"kind":"allowed"', 1))
    assert take_in(store, [tmp_path / "logs"], workers=1).quarantined == 1
    assert listed(store) == []
    (row,) = quarantined(store).itertuples()
    assert row.line == 1 + data[: data.index(b'"kind":"refused"')].count(b"\n")


def test_a_tablet_whose_key_comes_later_is_counted_then(
    tmp_path: Path, keys: dict[str, TabletKey], couple: Prepared, store: Store
) -> None:
    """Hazard: a new tablet's runs stay outside the figures for ever, because its key came a day late."""
    some(tmp_path / "logs", keys["one"], couple, "run-a")
    some(tmp_path / "logs", keys["two"], couple, "run-b")
    told = take_in(store, [tmp_path / "logs"], tablets=tmp_path / "known", workers=1)
    assert (told.new, told.quarantined) == (1, 1)
    assert list(quarantined(store)["reason"]) == ["foreign"]
    (tmp_path / "known" / "two.pub").write_text(keys["two"].public_pem())
    told = take_in(store, [tmp_path / "logs"], tablets=tmp_path / "known", workers=1)
    assert (told.new, told.unchanged, told.quarantined) == (1, 1, 0)
    assert [run for run, _ in listed(store)] == ["run-a", "run-b"]
    assert list(quarantined(store)["reason"]) == []
