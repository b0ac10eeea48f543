"""A log of any size and in any state is read by pages: nothing is lost, nothing hangs, nothing is hidden."""

from __future__ import annotations

import shutil
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_runs import Clocks, Unsynced

from assistant.debrief.folder import Folder
from assistant.debrief.moments import Moment, What
from assistant.debrief.payload import run_head
from assistant.debrief.run_log import RunLog, first_entry, last_entry, record_hash
from assistant.debrief.telling import Telling
from assistant.debrief.timeline import Timeline
from assistant.errors import InputError, LogError
from assistant.journal.keeping import forget
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG, LogReader
from assistant.journal.room import ROOM
from assistant.journal.verify import State, Verdict
from assistant.prepare import Prepared


def by_pages(path: Path, prepared: Prepared | None, size: int, bad: dict[int, str] | None = None) -> RunLog:
    """A run's log in pages of ``size``."""
    return RunLog(path, lambda: Timeline.begin(Telling(prepared), exact=prepared is not None), bad or {}, size)


def every(log: RunLog) -> list[Moment]:
    """All moments, page after page."""
    found: list[Moment] = []
    number, more = 0, True
    while more:
        page = log.page(number)
        found += page.moments
        number, more = number + 1, page.more
    return found


@pytest.mark.parametrize("size", [1, 7, 50, 457, 1000])
def test_pages_together_are_the_whole(mistakes: Path, couple: Prepared, moments: list[Moment], size: int) -> None:
    """Promise: a long log by pages tells what it tells at once: facts, words and what was told before, too."""
    if size == 1:
        log = by_pages(mistakes, couple, size)
        assert [log.page(at).moments[0] for at in range(40)] == moments[:40]
        return
    assert every(by_pages(mistakes, couple, size)) == moments


@settings(max_examples=25, deadline=None)
@given(start=st.integers(0, 460), size=st.integers(20, 120), back=st.booleans())
def test_jumps_find_the_next_refusal_from_anywhere(
    mistakes: Path, couple: Prepared, moments: list[Moment], start: int, size: int, back: bool
) -> None:
    """Promise: "next refusal" misses none, on whatever page it stands."""
    log = by_pages(mistakes, couple, size)
    wanted = [one.number for one in moments if one.mistake and (one.number < start if back else one.number > start)]
    page, number, found = (log.find_back if back else log.find)(start, lambda one: one.mistake)
    assert found is bool(wanted)
    if wanted:
        assert number == (wanted[-1] if back else wanted[0])
        assert number in [one.number for one in log.page(page).moments]


def test_a_line_without_end_is_not_held_in_memory(tmp_path: Path, mistakes: Path, couple: Prepared) -> None:
    """Hazard: a file of a gigabyte, or one that is no log, takes the trainer's machine down."""
    path = tmp_path / LOG
    good = (mistakes / LOG).read_bytes().splitlines(keepends=True)
    with path.open("wb") as file:
        file.writelines(good[:50])
        file.truncate(file.tell() + 60_000_000)  # sixty megabytes without a line break
        file.seek(0, 2)
        file.write(b"\n")
        file.writelines(good[50:])
    log = by_pages(path, couple, 600)
    tracemalloc.start()
    try:
        found = every(log)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 20_000_000
    assert len(found) == len(good) + 1
    broken = found[50]
    assert (broken.what, broken.proven) == (What.BROKEN, False)
    assert "longer than" in broken.text


def test_an_altered_line_is_shown_as_not_proven_with_what_it_claims(tmp_path: Path, mistakes: Path) -> None:
    """Hazard: a doctored log looks like any other. The line says so, the rest can still be looked at."""
    folder = shutil.copytree(mistakes, tmp_path / "logs" / "doctored")
    data = (folder / LOG).read_bytes()
    (folder / LOG).write_bytes(data.replace(b'"kind":"refused"', b'"kind":"allowed"', 1))
    runs = Folder(tmp_path / "logs")
    run = runs.named("doctored")
    log, told = runs.log(run)
    broken = [one for one in log.page(0).moments if one.what is What.BROKEN]
    assert [one.number for one in broken] == [8]
    assert "does not match its own hash" in broken[0].text
    assert "It claims (decided)" in broken[0].text
    assert sum(one.what is What.REFUSAL for one in log.page(0).moments) == 1
    head = run_head(runs, run, runs.verdict(run), told)
    assert str(head["banner"]).startswith("This log is not proven.")
    assert "altered" in str(head["banner"])


def test_a_record_taken_out_is_pointed_at(tmp_path: Path, mistakes: Path) -> None:
    """Hazard: a refusal is cut out of the middle. The record after it is not vouched for."""
    folder = shutil.copytree(mistakes, tmp_path / "logs" / "cut")
    lines = (folder / LOG).read_bytes().splitlines(keepends=True)
    (folder / LOG).write_bytes(b"".join(lines[:8] + lines[9:]))
    runs = Folder(tmp_path / "logs")
    log, _ = runs.log(runs.named("cut"))
    assert not log.page(0).moments[8].proven


@pytest.mark.parametrize("room", [0, ROOM])
def test_a_torn_end_is_told_and_the_rest_stands(tmp_path: Path, mistakes: Path, couple: Prepared, room: int) -> None:
    """Promise: what a power cut leaves is shown as that; a run without an end is no broken one."""
    folder = shutil.copytree(mistakes, tmp_path / "logs" / "torn")
    data = (folder / LOG).read_bytes()
    (folder / LOG).write_bytes(data[: len(data) - 900] + bytes(room))
    runs = Folder(tmp_path / "logs")
    run = runs.named("torn")
    verdict = runs.verdict(run)
    assert isinstance(verdict, Verdict)
    assert verdict.state is State.UNFINISHED
    assert "breaks off" in every(by_pages(folder, couple, 600))[-1].text


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "empty"),
        (b"hello\n", "no JSON"),
        (b'{"v":0}\n', "version 0"),
        (b"\x00" * 5000, "empty"),
        (b"[" * 100_000 + b"\n", "no JSON"),
        (b'{"a":1}\n' * 50, "version None"),
    ],
)
def test_what_is_no_log_is_named_and_can_be_opened(tmp_path: Path, content: bytes, why: str) -> None:
    """Hazard: one bad file among many keeps the trainer from all others."""
    folder = tmp_path / "logs" / "odd"
    folder.mkdir(parents=True)
    (folder / LOG).write_bytes(content)
    runs = Folder(tmp_path / "logs")
    run = runs.named("odd")
    assert run.opened is None
    assert why in run.fault
    log, told = runs.log(run)
    assert "no words" in told
    assert all(one.what is What.BROKEN for one in log.page(0).moments)
    told = runs.verdict(run)
    assert isinstance(told, str) or told.state is State.BROKEN


def test_a_folder_without_logs_is_told_in_a_sentence(tmp_path: Path) -> None:
    """Promise: the wrong folder is named as such."""
    with pytest.raises(InputError, match=r"holds no log \(log.jsonl\)"):
        Folder(tmp_path)
    with pytest.raises(InputError, match="is no folder"):
        Folder(tmp_path / "none")


def test_a_forgotten_run_shows_its_skeleton(tmp_path: Path, mistakes: Path, key: TabletKey) -> None:
    """Promise: `log forget` is honoured: no word and no sound is left, every decision is."""
    folder = shutil.copytree(mistakes, tmp_path / "logs" / "forgotten")
    forget(folder, key, "asked to", clocks=Clocks(1_945_554_828_000), disk=Unsynced())
    runs = Folder(tmp_path / "logs")
    run = runs.named("forgotten")
    verdict = runs.verdict(run)
    assert isinstance(verdict, Verdict)
    assert verdict.state is State.WHOLE
    moments = runs.log(run)[0].page(0).moments
    assert "lovely weather" not in str(moments)
    assert sum(one.what is What.REFUSAL for one in moments) == 2
    assert "were removed: asked to" in moments[-2].text


def test_a_log_that_grows_is_read_again(tmp_path: Path, mistakes: Path) -> None:
    """Hazard: a page left open shows yesterday's half of a run that was taken up again."""
    folder = shutil.copytree(mistakes, tmp_path / "logs" / "grows")
    data = (folder / LOG).read_bytes()
    lines = data.splitlines(keepends=True)
    (folder / LOG).write_bytes(b"".join(lines[:100]))
    runs = Folder(tmp_path / "logs")
    assert len(runs.log(runs.named("grows"))[0].page(0).moments) == 100
    (folder / LOG).write_bytes(data)
    run = runs.named("grows")
    assert len(runs.log(run)[0].page(0).moments) == len(lines)
    verdict = runs.verdict(run)
    assert isinstance(verdict, Verdict)
    assert verdict.state is State.WHOLE


def test_two_runs_of_one_name_are_two(tmp_path: Path, mistakes: Path) -> None:
    """Hazard: two tablets gave the same name, and one run hides the other."""
    for tablet in ("one", "two"):
        shutil.copytree(mistakes, tmp_path / "logs" / tablet / mistakes.name)
    runs = Folder(tmp_path / "logs")
    assert len(runs.places) == 2
    with pytest.raises(InputError, match="names 2 runs"):
        runs.named(mistakes.name)


def test_first_last_and_any_record_are_found_without_reading_all(mistakes: Path, tmp_path: Path) -> None:
    """Promise: a list of runs needs the ends of each log only."""
    entries = list(LogReader(mistakes))
    assert first_entry(mistakes).digest == entries[0].digest
    last = last_entry(mistakes)
    assert last is not None
    assert last.digest == entries[-1].digest
    assert record_hash(mistakes, 17) == entries[17].digest
    assert record_hash(mistakes, 99_999) == record_hash(mistakes, "17") == record_hash(mistakes, -1) == ""
    with pytest.raises(LogError):
        first_entry(tmp_path / "none")
