"""A proof that cannot fail proves nothing: each kind of fault is put in, and found with the way to it."""

from __future__ import annotations

import pytest

from assistant.engine import breaks, handlers, telling
from assistant.engine.engine import Engine
from assistant.engine.state import Decision, Kind, Phase, State
from assistant.phrases.book import load_book
from assistant.prepare import library
from assistant.procedure.plan import Plan
from assistant.proof.checks import check
from assistant.proof.explore import Explorer
from assistant.proof.library import Run, likeness, plan_of, proven
from assistant.proof.space import Nobody, Space
from assistant.proof.spin import run_spin
from assistant.proof.spoken import typed_lines
from assistant.shipped import shipped

from .conftest import Build


def test_the_small_yard_proves(build: Build) -> None:
    """A sound procedure has no fault, with one driver and with a mate."""
    for crew in ("alone", "mate"):
        proof = check(*build(crew=crew))
        assert proof.findings == []
        assert proof.used.answers >= {("air", "<within>"), ("air", "<outside>"), ("pin", "pin-clear")}
        assert proof.used.rules == {"leave-brake-off", "tug-unlocked"}
        # What must be secured first is asked until it is: the other answer counts, whatever the fact was.
        assert ("brake", "parking-brake-off") in proof.used.answers


JAW_LOOK = """[look.jaw]
answer = [
  { phrase = "jaw-closed", sets = { jaw = "closed" } },
  { phrase = "jaw-open", sets = { jaw = "open" } },
]
"""
SKIPPED = ('"pin-clear", sets = { pin = "clear" }, next = "pin"', '"pin-clear", sets = { pin = "clear" }, next = "tug"')
UNMET = ('needs = { brake = ["on"] }', 'needs = { note = ["missing"] }')
UNSEEN = ('"jaw-closed", sets = { jaw = "closed" }', '"jaw-closed", sets = { note = "made" }')
LOOP = ('{ phrase = "lines-hang-clear", sets = { note = "made" } }', '{ phrase = "lines-hang-clear", next = "note" }')
BY_ACT = [
    ('starts = { brake = "off" }', 'starts = { brake = "off", jaw = "closed" }'),
    ("[look.brake]", JAW_LOOK + "[look.brake]"),
    ('{ phrase = "jaw-closed", sets = { jaw = "closed" }, critical = true }', '{ phrase = "jaw-closed" }'),
]
FAULTS = [
    pytest.param([SKIPPED], "tug", "never rule tug-unlocked", ["pin-clear"], id="a step asks for a forbidden act"),
    pytest.param([UNMET], "jaw", "needs unmet", [], id="a step is come to with its needs unmet"),
    pytest.param([UNSEEN], "jaw", "joined has not been seen whole", [], id="the claim is made unseen"),
    pytest.param([LOOP], "note", "no way to the end", [], id="a loop without a way out"),
    pytest.param(BY_ACT, "jaw", "although jaw was not seen", [], id="the claim rests on an act and not on a look"),
]


@pytest.mark.parametrize(("changes", "step", "what", "words"), FAULTS)
def test_each_seeded_fault_is_found(
    build: Build, changes: list[tuple[str, str]], step: str, what: str, words: list[str]
) -> None:
    """What an author can get wrong is told by step, with the shortest lines that lead there."""
    files, plan = build(*changes)
    found = [one for one in check(files, plan).findings if one.fault.step == step and what in one.fault.what]
    assert found
    book = load_book(shipped("grammars"), "en")
    assert {book.phrases[phrase][0] for phrase in words} <= set(typed_lines(found[0].moves, book))
    assert replayed(plan, found[0].moves)


def replayed(plan: Plan, moves: tuple[object, ...]) -> bool:
    """Whether the moves of a finding really drive the engine from the start, none of them in vain."""
    engine, now = Engine(plan), 0
    state = engine.initial()
    for move in moves:
        before = state
        for _ in range(move.silent + 1):  # type: ignore[attr-defined]
            now = max(now, state.since) + move.after  # type: ignore[attr-defined]
            state = engine.decide(state, move.event, now).state  # type: ignore[attr-defined]
        if state == before:
            return False
    return True


def broken(name: str, monkeypatch: pytest.MonkeyPatch, new: object) -> None:
    """Put a faulty handler into every engine built from now on."""
    monkeypatch.setattr("assistant.engine.engine.HANDLERS", {**handlers.HANDLERS, name: new})


def test_an_engine_that_allows_a_forbidden_act_is_caught(build: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """The judge does not use the engine's own rule: an engine that says yes to everything fails the proof."""

    def yes(plan: Plan, state: State, event: object, now: int) -> Decision:
        decision = telling.announce(plan, state, event, now)  # type: ignore[arg-type]
        return decision._replace(kind=Kind.ALLOWED)

    broken("announce", monkeypatch, yes)
    told = [one.fault.what for one in check(*build()).findings]
    assert any("allows leave although the never rule leave-brake-off forbids it" in what for what in told)
    assert any("allows tug while the run is" in what for what in told)


def test_an_engine_that_forgets_the_stop_is_caught(build: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """Emergency stop: nothing but "everyone is clear" or a confirmed command may end it."""
    monkeypatch.setattr(breaks, "is_stopped", lambda state: state.phase is Phase.STOPPED)
    monkeypatch.setattr("assistant.engine.ticks.is_stopped", lambda _: False)
    found = [one for one in check(*build()).findings if "leaves the emergency stop" in one.fault.what]
    assert found
    assert "abandon this job" in typed_lines(found[0].moves, load_book(shipped("grammars"), "en"))


def test_an_engine_that_believes_after_a_power_cut_is_caught(build: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """Transport Canada SOP 1.9: what decays is looked at again; an engine that goes on believing fails."""

    def goes_on(plan: Plan, state: State, event: object, now: int) -> Decision:
        if state.phase is Phase.ASKING:
            return Decision(state, Kind.RESUMED)
        return breaks.resume(plan, state, event, now)  # type: ignore[arg-type]

    broken("resume", monkeypatch, goes_on)
    told = [one.fault.what for one in check(*build()).findings]
    assert any("still believes brake after an interruption" in what for what in told)


def test_an_engine_that_keeps_facts_after_a_failure_is_caught(build: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """A failed coupling leaves nothing believed."""

    def keeps(plan: Plan, now: int) -> State:
        return State(Phase.ASKING, 0, ("on", *plan.blank[1:]), since=now)

    monkeypatch.setattr("assistant.engine.moves.start_again", keeps)
    told = [one.fault.what for one in check(*build()).findings]
    assert any("starts again with something still believed" in what for what in told)


@pytest.mark.parametrize(("changes", "step", "what", "words"), FAULTS[:3])
def test_spin_finds_the_same_seeded_faults(
    build: Build, changes: list[tuple[str, str]], step: str, what: str, words: list[str]
) -> None:
    """An independent reading of the procedure by a general model checker comes to the same verdict."""
    _, plan = build(*changes)
    spun = run_spin(plan, 120)
    assert spun.errors > 0
    assert step in {name for _, name in spun.faults}
    assert pairs_agree(plan, spun.pairs)


def pairs_agree(plan: Plan, pairs: frozenset[tuple[int, tuple[str, ...]]]) -> bool:
    """Whether spin and the engine ask the same steps with the same facts."""
    explorer = Explorer(plan, Nobody(), Space(plan))
    reached = explorer.run().pairs
    return {(step, explorer.keep(facts)) for step, facts in pairs} == reached and bool(reached)


def test_spin_and_the_engine_agree_on_a_shipped_procedure() -> None:
    """The cross-check on real data: every (step, facts) the one reaches, the other reaches."""
    found = plan_of(library(), Run("uncouple", "slider-air", "us-handbook", "mate"), "en")
    assert found is not None
    spun = run_spin(found[1], 200)
    assert spun.errors == 0
    assert pairs_agree(found[1], spun.pairs)


@pytest.mark.parametrize("procedure", ["couple", "wear-check"])
def test_shipped_procedures_prove(procedure: str) -> None:
    """What is shipped proves; all rigs and sites are proven by ``hitchcall prove`` and its benchmark."""
    found = plan_of(library(), Run(procedure, "slider-air", "uk-standard", "mate"), "en")
    assert found is not None
    assert check(*found).findings == []


def test_a_proof_is_kept_by_the_hashes_of_its_files(build: Build, tmp_path: object) -> None:
    """A cab waits for no proof twice, and a changed file is proven anew."""
    from pathlib import Path

    folder = Path(str(tmp_path)) / "cache"
    assert proven(*build(), folder) == []
    (kept,) = folder.glob("proof-*.json")
    kept.write_text('[{"file": "f", "what": "from the note"}]', encoding="utf-8")
    assert [one.what for one in proven(*build(), folder)] == ["from the note"]
    kept.write_text("damaged", encoding="utf-8")
    assert proven(*build(), folder) == []
    assert proven(*build(SKIPPED), folder)
    assert len(list(folder.glob("proof-*.json"))) == 2


def test_plans_that_differ_in_anything_the_engine_reads_are_not_taken_for_one(build: Build) -> None:
    """A run is never called proven because of another plan."""
    _, one = build()
    _, two = build(("at_least = 100", "at_least = 101"))
    assert likeness(one) != likeness(two)
