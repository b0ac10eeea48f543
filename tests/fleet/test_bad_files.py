"""Files that are no sound logs: each kept aside with its reason, or counted for what it is."""

from __future__ import annotations

import os
import shutil
import tracemalloc
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
import sqlalchemy as sa
from made_runs import Clocks, Made

from assistant.errors import InputError, LogError
from assistant.fleet import examine, write
from assistant.fleet.intake import take_in
from assistant.fleet.pages import quarantined, run_list
from assistant.fleet.schema import Tally
from assistant.fleet.store import Store
from assistant.journal.chain import VERSION, canonical
from assistant.journal.clock import stamp
from assistant.journal.keeping import forget
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LogReader
from assistant.prepare import Prepared
from tests.fleet.contents import contents

Lines = list[bytes]
HOUR_MS = 3_600_000


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, tablets: dict[str, TabletKey], couple: Prepared) -> Path:
    """A short sound log of an ended run."""
    one = Made(tmp_path_factory.mktemp("sound"), tablets["one"], couple, run="run-a", call_sign="Yard A")
    one.good()
    one.say("pulling-away")
    one.mumble()
    one.say("give-up")
    one.say("read-back-right")
    return one.end()


def without(lines: Lines, number: int) -> Lines:
    """Take a line out."""
    return lines[: number - 1] + lines[number:]


def swapped(lines: Lines, number: int) -> Lines:
    """Change places with the next line."""
    return [*lines[: number - 1], lines[number], lines[number - 1], *lines[number + 1 :]]


BROKEN: dict[str, tuple[Callable[[Lines], Lines], str, int]] = {
    "edited": (lambda lines: [line.replace(b'"refused"', b'"allowed"') for line in lines], "altered", 9),
    "cut out of": (lambda lines: without(lines, 5), "removed", 5),
    "begun late": (lambda lines: lines[2:], "removed", 1),
    "a line twice": (lambda lines: lines[:5] + lines[4:], "doubled", 6),
    "two lines changed about": (lambda lines: swapped(lines, 5), "moved", 5),
    "a line of no log": (lambda lines: [*lines[:5], b"lunch at twelve\n", *lines[5:]], "not-a-record", 6),
    "a line without end": (lambda lines: [*lines[:5], b"x" * 300_000 + b"\n", *lines[5:]], "not-a-record", 6),
    "an older version": (lambda lines: [line.replace(b'"v":1', b'"v":0') for line in lines], "version", 1),
    "a newer version": (lambda lines: [line.replace(b'"v":1', b'"v":27') for line in lines], "version", 1),
    "empty": (lambda _: [], "not-a-log", 0),
    "a blank line": (lambda _: [b"\n"], "not-a-log", 0),
    "only zeroes, as a full disk leaves": (lambda lines: [bytes(len(lines[0]))], "not-a-log", 0),
    "other JSON": (lambda _: [b'{"v":3}\n', b"[]\n"], "not-a-log", 0),
    "a picture": (lambda _: [bytes(range(256)) * 40], "not-a-log", 0),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_no_sound_log_is_kept_aside_with_its_reason(sound: Path, tmp_path: Path, name: str) -> None:
    """Promise: each is named, with its first bad line, and counts nowhere; the sound log beside it does."""
    spoil, reason, line = BROKEN[name]
    shutil.copytree(sound, tmp_path / "logs" / "run-a")
    shutil.copytree(sound, tmp_path / "logs" / "spoilt")
    log = tmp_path / "logs" / "spoilt" / "log.jsonl"
    log.write_bytes(b"".join(spoil(log.read_bytes().splitlines(keepends=True))))
    with Store(tmp_path / "fleet.sqlite") as store:
        told = take_in(store, [tmp_path / "logs"], workers=1)
        assert (told.new, told.quarantined) == (1, 1)
        (row,) = quarantined(store).itertuples()
        assert (row.path, row.reason, row.line) == (str(log), reason, line)
        assert row.what.startswith(str(log))
        assert row.what.endswith(".")
        assert take_in(store, [tmp_path / "logs"], workers=1).new == 0
        assert len(quarantined(store)) == 1
        assert len(run_list(store)) == 1


def test_a_log_that_is_cut_off_counts_as_far_as_it_goes(sound: Path, tmp_path: Path) -> None:
    """Hazard: a run whose end is missing is thrown away, or taken for a whole one."""
    shutil.copytree(sound, tmp_path / "logs" / "run-a")
    log = tmp_path / "logs" / "run-a" / "log.jsonl"
    whole = log.read_bytes()
    cut = whole[: whole.index(b"\n", len(whole) * 2 // 3) + 40]
    log.write_bytes(cut)
    with Store(tmp_path / "fleet.sqlite") as store:
        assert take_in(store, [tmp_path / "logs"], workers=1).new == 1
        (row,) = run_list(store).itertuples()
        assert (row.state, row.outcome, row.records) == ("unfinished", "", cut.count(b"\n"))
        log.write_bytes(whole)
        assert take_in(store, [tmp_path / "logs"], workers=1).longer == 1
        (row,) = run_list(store).itertuples()
        assert (row.state, row.outcome, row.records) == ("whole", "given-up", whole.count(b"\n"))


def test_two_tablets_of_one_name_are_two(
    tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared
) -> None:
    """Hazard: two tablets that were given the same name, and runs of the same name, become one run."""
    for name, key in tablets.items():
        one = Made(tmp_path / name, key, couple, run="run-a", call_sign="Yard A")
        one.mumble()
        one.writer.close()
        (tmp_path / "known" / name).mkdir(parents=True)
        (tmp_path / "known" / name / "tablet.pub").write_text(key.public_pem())
    with Store(tmp_path / "fleet.sqlite") as store:
        told = take_in(store, [tmp_path / "one", tmp_path / "two"], tablets=tmp_path / "known", workers=1)
        assert (told.new, told.quarantined) == (2, 0)
        held = contents(store)
        assert {row[:2] for row in held["run"]} == {(key.public, "run-a") for key in tablets.values()}
        assert len(held["hearing"]) == 2


@pytest.mark.parametrize(
    ("year_ms", "set_ms", "flags"),
    [
        (1_800_000_000_000, 0, ""),
        (1_800_000_000_000, HOUR_MS, "moved"),
        (1_800_000_000_000, -HOUR_MS, "moved"),
        (86_400_000, 0, "past"),
        (4_000_000_000_000, 0, "future"),
        (4_000_000_000_000, -HOUR_MS, "moved future"),
    ],
)
def test_a_clock_that_is_wrong_is_noted_and_no_time_is_lost(
    tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared, year_ms: int, set_ms: int, flags: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Hazard: a clock set by an hour, or in another year, makes a step take an hour, or loses the run."""
    monkeypatch.setattr("assistant.journal.clock.SystemClocks.wall", lambda _: 1_900_000_000_000)
    clocks = Clocks(year_ms)
    one = Made(tmp_path / "logs", tablets["one"], couple, run="run-a", clocks=clocks)
    one.good()
    began = clocks.mono_ms
    clocks.wall_ms += set_ms
    one.good()
    one.writer.close()
    with Store(tmp_path / "fleet.sqlite") as store:
        assert take_in(store, [tmp_path / "logs"], workers=1).new == 1
        (row,) = run_list(store).itertuples()
        assert row.clock == flags
        assert row.started_wall_ms == year_ms
        assert began < row.duration_ms < clocks.mono_ms + 1
        assert stamp(year_ms)[:7] in _months(store)


def _months(store: Store) -> set[str]:
    """The months that the tallies name."""
    with store.reading() as connection:
        return set(connection.scalars(sa.select(Tally.month)))


def test_what_lies_about_is_named(sound: Path, tmp_path: Path) -> None:
    """Promise: pictures, pipes and links that lead nowhere are told of, and do not stop what is sound."""
    logs = tmp_path / "logs"
    shutil.copytree(sound, logs / "run-a")
    (logs / "holiday.jpg").write_bytes(b"\xff\xd8")
    os.mkfifo(logs / "pipe.jsonl")
    (logs / "gone.jsonl").symlink_to(tmp_path / "nowhere")
    with Store(tmp_path / "fleet.sqlite") as store:
        told = take_in(store, [logs], workers=1)
        assert (told.new, told.quarantined) == (1, 3)
        found = quarantined(store)
        assert {Path(path).name: reason for path, reason in zip(found["path"], found["reason"], strict=True)} == {
            "holiday.jpg": "unknown",
            "pipe.jsonl": "unknown",
            "gone.jsonl": "unreadable",
        }


def test_each_file_is_found_once(sound: Path, tmp_path: Path) -> None:
    """Hazard: folders within folders, links in a circle, a folder named twice: a file is missed, or looked at twice.

    What begins with a dot, or lies in a run's own folder, is no stranger to be told of.
    """
    logs = tmp_path / "logs"
    shutil.copytree(sound, logs / "site" / "tablet" / "run-a")
    (logs / "site" / "tablet" / "run-a" / "sheet.pdf").write_bytes(b"%PDF")
    (logs / "site" / "tablet" / "run-a" / "audio").mkdir()
    (logs / "site" / "tablet" / "run-a" / "audio" / "one.flac").write_bytes(b"")
    shutil.copy(sound / "log.jsonl", logs / "site" / "tablet" / "run-a" / "older.jsonl")
    shutil.copytree(sound, logs / ".half-copied")
    (logs / ".note").write_bytes(b"")
    (logs / "site" / "log.jsonl").mkdir()
    (logs / "site" / "round").symlink_to(logs)
    (logs / "site" / "itself").symlink_to("itself")
    with Store(tmp_path / "fleet.sqlite") as store:
        told = take_in(store, [logs, logs / "site", tmp_path / "logs" / "site" / ".."], workers=1)
        assert (told.new, told.known, told.quarantined) == (1, 1, 1)
        assert [Path(path).name for path in quarantined(store)["path"]] == ["itself"]
        again = take_in(store, [logs], workers=1)
        assert (again.new, again.known, again.unchanged) == (0, 1, 1)


def test_what_could_not_be_read_is_looked_at_again(
    sound: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: a share stumbles once while a run is taken in, and the run is passed over for good."""

    def stumbling(path: Path, **_wanted: object) -> None:
        raise LogError(f"{path} cannot be read: stale file handle.") from OSError("stale file handle")

    shutil.copytree(sound, tmp_path / "logs" / "run-a")
    with Store(tmp_path / "fleet.sqlite") as store:
        with monkeypatch.context() as patch:
            patch.setattr(examine, "verify", stumbling)
            for _ in range(2):
                assert take_in(store, [tmp_path / "logs"], workers=1).quarantined == 1
                assert list(quarantined(store)["reason"]) == ["unreadable"]
        told = take_in(store, [tmp_path / "logs"], workers=1)
        assert (told.new, told.quarantined) == (1, 0)
        assert quarantined(store).empty


def test_a_name_that_is_no_text_is_told_of(sound: Path, tmp_path: Path) -> None:
    """Hazard: one oddly named file, from a camera or an old disk, and no run of the folder is ever taken in.

    In a run's own folder it is nobody's business, as any other.
    """
    logs = tmp_path / "logs"
    shutil.copytree(sound, logs / "run-a")
    odd = os.fsencode(logs) + b"/caf\xe9"
    Path(os.fsdecode(odd)).mkdir()
    shutil.copy(sound / "log.jsonl", odd + b"/log.jsonl")
    for name in (b"/\xff.txt", b"/.\xff", b"/run-a/\xff.txt"):
        Path(os.fsdecode(os.fsencode(logs) + name)).write_bytes(b"")
    with Store(tmp_path / "fleet.sqlite") as store:
        for new in (1, 0):
            assert take_in(store, [logs], workers=1).new == new
            found = quarantined(store)
            assert {Path(path).name for path in found["path"]} == {r"caf\xe9", r"\xff.txt"}
            assert all("rename it" in what for what in found["what"])
        with pytest.raises(InputError, match="rename it"):
            take_in(store, [Path(os.fsdecode(odd))], workers=1)


def test_forgetting_reaches_the_store(tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared) -> None:
    """Hazard: a driver has their words forgotten, and the store goes on naming them."""
    one = Made(tmp_path / "logs", tablets["one"], couple, run="run-a", call_sign="Yard A")
    one.mumble()
    one.writer.close()
    with Store(tmp_path / "fleet.sqlite") as store:
        take_in(store, [tmp_path / "logs"], workers=1)
        assert "Yard A" in str(contents(store)["run"])
        forget(one.folder, tablets["one"], "asked")
        assert take_in(store, [tmp_path / "logs"], workers=1).longer == 1
        held = contents(store)
        assert "Yard A" not in str(held)
        assert (len(held["run"]), len(held["hearing"])) == (1, 1)


def _lengthened(folder: Path, key: TabletKey, hearings: int) -> None:
    """Append hearings to an open log, each a copy of its last one, chained and signed as the writer does."""
    entries = list(LogReader(folder))
    last, heard = entries[-1], next(one for one in reversed(entries) if one.kind == "heard")
    data = {**heard.data, "said": ""}
    frame: dict[str, object] = {"data": data, "mono": last.mono, "type": "heard", "v": VERSION, "wall": last.wall}
    prev, seq = last.digest, last.seq
    with (folder / "log.jsonl").open("ab") as file:
        for _ in range(hearings):
            seq += 1
            record = {**frame, "prev": prev, "seq": seq}
            if seq % 512 == 0:
                record["sig"] = key.sign(sha256(canonical(record)).hexdigest())
            prev = sha256(canonical(record)).hexdigest()
            file.write(canonical({**record, "hash": prev}) + b"\n")


def test_a_log_of_any_length_is_read_in_flat_memory(
    tmp_path: Path, tablets: dict[str, TabletKey], couple: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: a log of a gigabyte takes the trainer's machine down. Read a part at a time, all of it counts."""
    one = Made(tmp_path / "logs", tablets["one"], couple, run="run-a")
    one.mumble()
    one.writer.close()
    _lengthened(one.folder, tablets["one"], 20_000)
    size = (one.folder / "log.jsonl").stat().st_size
    assert size > 8_000_000
    monkeypatch.setattr(examine, "LARGE", 1_000_000)
    monkeypatch.setattr(write, "_AT_ONCE", 1_000)
    short = Made(tmp_path / "short", tablets["one"], couple, run="run-b")
    short.mumble()
    short.writer.close()
    with Store(tmp_path / "fleet.sqlite") as store:
        take_in(store, [tmp_path / "short"], workers=1)  # what is loaded or worked out once is not the log's
        tracemalloc.start()
        try:
            assert take_in(store, [tmp_path / "logs"], workers=1).new == 1
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
        held = contents(store)
    assert len(held["hearing"]) == 20_002
    assert peak < size * 0.75, "the rows alone would take more than the log"
