"""Whatever is taken in, in whatever order and how often: the same store, nothing lost, nothing counted twice."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from made_runs import Made

from assistant.fleet.intake import take_in
from assistant.fleet.pages import quarantined
from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey
from assistant.journal.room import ROOM
from assistant.prepare import Prepared
from tests.fleet.conftest import Empty
from tests.fleet.contents import contents

Held = dict[str, list[tuple[Any, ...]]]


@dataclass(frozen=True)
class Copy:
    """A copy of a log: whose story it tells and how many of its records it has."""

    story: str
    records: int
    folder: Path


@dataclass(frozen=True)
class Shelf:
    """All copies there are, and what a store comes to that was given the longest of each story at once."""

    copies: tuple[Copy, ...]
    fresh: Callable[[frozenset[Copy]], Held]


@pytest.fixture(scope="session")
def shelf(
    tmp_path_factory: pytest.TempPathFactory, tablets: dict[str, TabletKey], couple: Prepared
) -> Shelf:
    """A run that grows, one of the same name from another tablet, one told in two ways, and an altered one."""
    folder = tmp_path_factory.mktemp("shelf")
    grown = _log(folder / "whole", tablets["one"], couple, "run-a", 6, "pulling-away")
    namesake = _log(folder / "other-tablet", tablets["two"], couple, "run-a", 4)
    told = _log(folder / "told", tablets["one"], couple, "run-b", 3)
    retold = _log(folder / "retold", tablets["one"], couple, "run-b", 3, "raising-suspension")
    copies = [_part(folder / f"grown-{count}", grown, count) for count in (4, 11, 23)]
    copies += [Copy("grown", _count(grown), grown), _part(folder / "twin", grown, _count(grown))]
    copies += [_part(folder / "namesake-5", namesake, 5, "namesake"), Copy("namesake", _count(namesake), namesake)]
    copies += [Copy("told", _count(told), told), Copy("retold", _count(retold), retold)]
    altered = shutil.copytree(grown, folder / "altered" / "run-a")
    data = (altered / "log.jsonl").read_bytes()
    assert b'"kind":"refused"' in data
    (altered / "log.jsonl").write_bytes(data.replace(b'"kind":"refused"', b'"kind":"allowed"', 1))
    copies.append(Copy("altered", 0, altered))

    @cache
    def fresh(longest: frozenset[Copy]) -> Held:
        with Store(tmp_path_factory.mktemp("fresh") / "fleet.sqlite") as store:
            if longest:
                take_in(store, [one.folder for one in longest], workers=1)
            return contents(store)

    return Shelf(tuple(copies), fresh)


def _log(folder: Path, key: TabletKey, couple: Prepared, run: str, answers: int, slip: str = "") -> Path:
    made = Made(folder, key, couple, run=run)
    for _ in range(answers):
        made.good()
    if slip:
        made.say(slip)
    made.mumble()
    made.writer.close()
    return made.folder


def _part(folder: Path, whole: Path, records: int, story: str = "grown") -> Copy:
    """The log as it was when it had so many records, some with room behind; its words were all there already."""
    shutil.copytree(whole, folder)
    lines = (whole / "log.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "log.jsonl").write_bytes(b"".join(lines[:records]) + bytes(ROOM * (records % 2)))
    return Copy(story, records, folder)


def _count(folder: Path) -> int:
    return (folder / "log.jsonl").read_bytes().count(b"\n")


def _longest(seen: set[Copy]) -> frozenset[Copy]:
    """The copies that count in the end: of each story the longest."""
    best: dict[str, Copy] = {}
    for one in sorted(seen, key=lambda copy: str(copy.folder)):
        if one.story != "altered" and one.records > getattr(best.get(one.story), "records", 0):
            best[one.story] = one
    return frozenset(best.values())


ORDERS = st.lists(st.lists(st.integers(0, 9), min_size=1, max_size=4), min_size=1, max_size=4)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ORDERS)
@example([[7, 4, 8, 0]])  # copies of two runs in turn within one transaction
def test_order_and_repetition_change_nothing(shelf: Shelf, empty: Empty, orders: list[list[int]]) -> None:
    """Promise: any files, in any order, any number of times, young or grown: the store a single intake makes."""
    assert len(shelf.copies) == 10
    seen: set[Copy] = set()
    with Store(empty()) as store:
        for numbers in orders:
            some = [shelf.copies[number] for number in numbers]
            seen.update(some)
            told = take_in(store, [one.folder for one in some], workers=1)
            files = {one.folder for one in some}
            assert told.new + told.longer + told.known + told.unchanged + told.quarantined == len(files)
        assert contents(store) == shelf.fresh(_longest(seen))
        aside = {Path(path).parent.parent.name for path in quarantined(store)["path"]}
        stories = {one.story for one in seen}
        both = {"told", "retold"} <= stories
        assert aside == ({"altered"} if "altered" in stories else set()) | ({"told", "retold"} if both else set())
