"""Every shipped procedure, on every rig, site and crew it is for, runs to its end and never loses its place."""

from __future__ import annotations

from itertools import islice

import pytest
from ways import PROCEDURES, Setting, all_ways, settings

from assistant.ears.typed import typed_hearing
from assistant.engine.engine import Engine
from assistant.engine.events import Event, Heard, Measured, event_of
from assistant.engine.guide import good_run
from assistant.engine.moves import believed, broken_rule
from assistant.engine.state import Kind, Phase
from assistant.errors import FileFaults, InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.prepare import grammars, library, prepare
from assistant.procedure.lint import check_phrases, check_reach, check_words
from assistant.procedure.plan import holds
from assistant.proof.moves import Move
from assistant.proof.spoken import typed_lines

LOST = {"needs-unmet", "act-forbidden", "not-live", "wrong-voice", "wrong-kind", "impossible"}
MOST = 400  # moves of a faultless run; the longest has under 200


@pytest.fixture(scope="module")
def book() -> PhraseBook:
    """The shipped English phrases."""
    return load_book(grammars(), "en")


def test_the_whole_trade_is_there() -> None:
    """Promise: none of the procedures of the job is missing."""
    job = {"couple", "recover", "uncouple", "road-ready", "wear-check", "slide-fifth-wheel", "doubles", "doubles-apart"}
    assert job <= set(PROCEDURES)


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_everything_that_is_asked_has_words_and_can_be_answered(procedure: str, book: PhraseBook) -> None:
    """Hazard: a step without words, or an answer nobody can say, leaves a driver standing mid-job."""
    for one in settings(procedure):
        faults = [*check_words(one.files), *check_phrases(one.plan, book), *check_reach(one.plan)]
        assert [str(fault) for fault in faults] == [], str(one)


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_a_faultless_driver_comes_to_the_end_by_typed_lines(procedure: str, book: PhraseBook) -> None:
    """Promise: on every rig, site and crew each line is taken for what it says, and the run ends with its claim."""
    assert settings(procedure)
    typed: dict[tuple[object, ...], Event] = {}
    for one in settings(procedure):
        engine, mate = Engine(one.plan), one.crew == "mate"
        run = list(islice(good_run(engine), MOST))
        assert len(run) < MOST, f"{one}: never ends"
        for state, told in run:
            if isinstance(told.event, Heard | Measured):
                ids = engine.live(state)
                (line,) = typed_lines([Move(told.event)], book)
                key = (line, ids.phrases, ids.reading, mate)
                if key not in typed:
                    live = book.live(sorted(ids.phrases), reading=ids.reading, mate=mate)
                    typed[key] = event_of(typed_hearing(line, live))
                assert typed[key] == told.event, (str(one), line)
        state, told = run[-1]
        end = engine.decide(state, told.event, 1000 + told.wait_ms).state
        assert (end.phase, end.outcome) == (Phase.OVER, "done"), str(one)
        assert holds(one.plan.done_needs, end.facts), str(one)


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_no_answer_loses_the_place_or_leads_nowhere(procedure: str) -> None:
    """Hazard: an honest answer that leads to a forbidden act, or round in a ring, strands the driver."""
    for one in settings(procedure):
        ways = all_ways(one.plan)
        lost = [(step_of(one, state.step), event, decision.reason, decision.rule)
                for state, event, decision, _ in ways.edges if decision.reason in LOST]  # fmt: skip
        assert lost == [], str(one)
        stuck = ways.states - ways.leading_to(ways.ends)
        assert {step_of(one, state.step) for state in stuck} == set(), str(one)
        asked = {state.step for state in ways.states if state.phase is Phase.ASKING}
        assert asked == set(range(len(one.plan.steps))), str(one)
        assert ways.done(), str(one)


def step_of(one: Setting, position: int) -> str:
    """The id of a step."""
    return one.plan.steps[position].id


def test_every_never_rule_refuses_somewhere() -> None:
    """Hazard: a rule that can never be the one that refuses protects nobody and hides that it does not."""
    wanted = {rule.id for rule in settings("couple")[0].files.yard.never}
    found: set[str] = set()
    for procedure in PROCEDURES:
        for one in settings(procedure):
            if one.site not in {"us-handbook", "lines-after"}:
                continue
            for state in (state for state in all_ways(one.plan).states if state.phase is Phase.ASKING):
                for act in one.plan.acts:
                    own = one.plan.steps[state.step].act == act
                    rule = broken_rule(one.plan, act, state.facts if own else believed(one.plan, state))
                    found |= {rule.id} if rule is not None else set()
        if found == wanted:
            return
    assert wanted - found == set()


def test_nothing_shared_is_left_over(book: PhraseBook) -> None:
    """Promise: every hazard is told at some step, and every act is asked for at one."""
    hazards, acts = set(), set()
    for procedure in PROCEDURES:
        for one in settings(procedure):
            hazards |= {step.hazard for step in (*one.plan.steps, *one.plan.looks.values())}
            acts |= {step.act for step in one.plan.steps}
    yard = settings("couple")[0].files.yard
    assert {hazard.id for hazard in yard.hazard} - hazards == set()
    assert set(yard.acts) - acts == set()


@pytest.mark.parametrize(
    ("procedure", "rig", "what"),
    [
        ("slide-fifth-wheel", "fixed-spring", "slide-fifth-wheel is only for slider sliding; here it is fixed"),
        ("slide-fifth-wheel", "cab-release", "rig cab-release"),
        ("doubles", "slider-air", "doubles is only for dolly fitted; here it is not fitted"),
        ("doubles-apart", "slider-air", "Choose another rig, site or crew."),
    ],
)
def test_a_procedure_for_another_rig_says_so(procedure: str, rig: str, what: str) -> None:
    """Promise: whoever names the wrong rig is told in one sentence, not by an empty run."""
    with pytest.raises(InputError) as told:
        prepare(library(), grammars(), procedure, rig=rig)
    assert not isinstance(told.value, FileFaults)
    assert what in str(told.value)


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_the_mate_answers_for_himself_and_is_seen_before_backing(procedure: str) -> None:
    """Hazard: a spotter out of sight is the one who is crushed; nobody answers in the other's place."""
    backing = {"line-up", "back-under", "back-in", "ease-back", "slide"}
    for one in settings(procedure):
        if one.crew != "mate":
            continue
        engine = Engine(one.plan)
        ways = all_ways(one.plan)
        people = one.plan.fact_names.index("people")
        for state, event, decision, target in ways.edges:
            step = one.plan.steps[state.step]
            if step.who == "mate" and state.phase is Phase.ASKING and isinstance(event, Heard):
                other = engine.decide(state, Heard(event.phrase), 0)
                assert (other.kind, other.reason) == (Kind.REFUSED, "wrong-voice"), (str(one), step.id)
            to = one.plan.steps[target.step]
            if target.phase is Phase.ASKING and to.act in backing and step.act not in backing:
                # From another step, backing is come to by the driver seeing the mate, and by that alone.
                assert event == Heard("mate-in-sight"), (str(one), step.id, to.id)
                assert target.facts[people] == "clear", (str(one), to.id)
            assert decision.reason != "wrong-voice"
