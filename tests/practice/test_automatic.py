"""The automatic driver: whole runs through the real session, log and resume, the same for the same seed."""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.journal.fold import inputs, replay
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LogReader
from assistant.journal.records import Decided, Heard, Resumed
from assistant.journal.verify import State, verify
from assistant.practice.making import make_runs
from assistant.practice.manner import CAREFUL, CARELESS, RECKLESS
from assistant.practice.whole import Made, Order, Setting, one_run
from assistant.prepare import grammars, library, prepare
from assistant.resume import redecider

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

import soak as soaking

COUPLE = Setting("couple", "slider-air", "us-handbook", "alone")
PLACES = tuple(
    Setting(procedure, rig, site, crew)
    for procedure, rig, site, crew in (
        ("couple", "slider-air", "us-handbook", "mate"), ("couple", "cab-release", "uk-standard", "alone"),
        ("uncouple", "slider-air", "depot-lines-first", "mate"), ("road-ready", "doubles-new", "lines-after", "alone"),
        ("recover", "fixed-spring", "us-handbook", "alone"), ("wear-check", "slider-air", "uk-standard", "mate"),
        ("slide-fifth-wheel", "slider-air", "us-handbook", "mate"), ("doubles", "doubles-dolly", "us-handbook", "alone"),
        ("doubles-apart", "doubles-new", "lines-after", "mate"),
    )
)  # fmt: skip


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> TabletKey:
    """A tablet's key."""
    return tablet_key(tmp_path_factory.mktemp("keys"))


def _order(key: TabletKey, name: str, **changes: object) -> Order:
    told: dict[str, object] = {
        "setting": COUPLE, "name": name, "manner": CAREFUL, "wall_ms": 1_930_000_000_000, "seed": 7, "key": key,
    }  # fmt: skip
    return Order(**{**told, **changes})  # type: ignore[arg-type] - as the dataclass names them


def test_a_soak_ends_with_nothing_wrong(tmp_path: Path) -> None:
    """No error, no log that does not verify or replay, no unsafe act allowed to an honest driver: a cut of the benchmark."""
    seen: list[int] = []
    soaked = soaking.soak(
        soaking.Plan(54, 1), tmp_path, soaking.Soaked(), settings=PLACES, progress=lambda number, _: seen.append(number)
    )
    print(f"outcomes {dict(soaked.outcomes)}, broken by liars {dict(soaked.broken_by_liars)}")
    assert soaked.errors == []
    assert soaked.unverifiable == []
    assert soaked.otherwise == []
    assert soaked.unsafe == []
    assert soaked.runs == 54
    assert soaked.real_disk == 2
    assert soaked.replayed == 6
    assert soaked.resumes > 0
    assert soaked.refusals > 20
    assert soaked.honest > 10
    assert soaked.outcomes["done"] > 10
    assert seen == [50, 54]


def test_a_soak_can_find_something(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The counts are real: with the never rules taken out of the engine unsafe acts are allowed, and counted."""
    from assistant.engine import telling

    monkeypatch.setattr(telling, "broken_rule", lambda *_: None)
    monkeypatch.setattr(soaking, "MANNERS", (replace(CAREFUL, too_early=0.5),))
    soaked = soaking.soak(
        soaking.Plan(7, 3), tmp_path, soaking.Soaked(), settings=(COUPLE, *PLACES[:2]), progress=lambda *_: None
    )
    assert soaked.unsafe


def test_the_same_seed_makes_the_same_run(tmp_path: Path, key: TabletKey) -> None:
    """A run that failed in a soak can be made again to the last byte."""
    once = one_run(tmp_path / "a", _order(key, "run", manner=CARELESS, difficulty=3))
    again = one_run(tmp_path / "b", _order(key, "run", manner=CARELESS, difficulty=3))
    other = one_run(tmp_path / "c", _order(key, "run", manner=CARELESS, difficulty=3, seed=8))
    assert (once.folder / "log.jsonl").read_bytes() == (again.folder / "log.jsonl").read_bytes()
    assert (once.folder / "words.jsonl").read_bytes() == (again.folder / "words.jsonl").read_bytes()
    assert (once.folder / "log.jsonl").read_bytes() != (other.folder / "log.jsonl").read_bytes()


def test_power_cuts_amid_a_write_are_gone_on_with(tmp_path: Path, key: TabletKey) -> None:
    """The driver's power cuts leave torn ends, and the real resume takes the run up after each."""
    stormy = replace(CAREFUL, power_cut=0.06, torn=1.0)
    made = one_run(tmp_path, _order(key, "run", manner=stormy))
    assert made.resumes >= 2
    assert verify(made.folder).state is State.WHOLE
    resumed = [entry.record for entry in LogReader(made.folder) if isinstance(entry.record, Resumed)]
    assert len(resumed) == made.resumes
    assert all(record.torn_bytes > 0 for record in resumed)
    ready = prepare(library(), grammars(), "couple")
    assert replay(made.folder, redecider(lambda _: ready)).same


def test_a_reckless_driver_is_hurt_and_an_honest_one_is_not(tmp_path: Path, key: TabletKey) -> None:
    """Who lies to the assistant can be hurt in the yard, and the run says so; who obeys and looks is not."""
    broken: Counter[str] = Counter()
    for seed in range(6):
        reckless = one_run(tmp_path, _order(key, f"reckless-{seed}", manner=RECKLESS, seed=seed))
        broken.update(harm.kind for harm in reckless.truth.harms)
        assert not reckless.conduct.honest
        honest = one_run(tmp_path, _order(key, f"honest-{seed}", seed=seed))
        assert honest.conduct.honest
        assert honest.truth.harms == ()
        assert honest.conduct.unsafe == []
    print(dict(broken))
    assert broken


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> list[Made]:
    """A small fleet's folder."""
    return list(make_runs(tmp_path_factory.mktemp("fleet") / "logs", 24, 5, days=60))


def test_a_fleets_folder_holds_real_runs(fleet: list[Made]) -> None:
    """What statistics are measured on are logs as a cab writes them: signed, whole, with noise and tries in them."""
    heard: list[Heard] = []
    for made in fleet:
        assert verify(made.folder).state is State.WHOLE
        opened = LogReader(made.folder)
        records = [entry.record for entry in opened]
        assert opened.opened is not None
        assert opened.opened.call_sign.startswith("quarry ")
        assert "made by the automatic driver" in opened.opened.notes
        heard += [record for record in records if isinstance(record, Heard)]
        assert any(isinstance(record, Decided) for record in records)
    assert any(record.unheard for record in heard)
    assert any(record.reading for record in heard)
    assert all(record.noise_db for record in heard)
    assert len({made.setting.site for made in fleet}) > 1
    walls = [next(iter(LogReader(made.folder))).wall for made in fleet]
    assert max(walls)[:7] > min(walls)[:7]


def test_a_drifting_rig_drifts(tmp_path: Path) -> None:
    """The readings of one rig creep towards their limits, so that a drift can be shown and tested."""
    runs = list(make_runs(tmp_path / "logs", 8, 3, rigs=["slider-air"], sites=["us-handbook"], procedures=["road-ready"],
                          careless=0.0, fault_share=0.0, days=60))  # fmt: skip
    leaks = []
    for made in runs:
        read = [
            one.event
            for one in inputs(made.folder)
            if one.event.get("event") == "measured" and one.event.get("unit") == "psi"
        ]
        small = [float(str(event["value"])) for event in read if float(str(event["value"])) < 10]
        leaks.append(small[0] if small else None)
    known = [leak for leak in leaks if leak is not None]
    assert len(known) >= 5
    assert known[-1] > known[0] + 0.5
