"""What the exploration leaves out, it may leave out: each claim of ``explore.py`` against the engine."""

from __future__ import annotations

import random

import pytest

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.events import Heard, Tick
from assistant.engine.moves import believed
from assistant.engine.state import Phase, State
from assistant.phrases.live import Role
from assistant.procedure.plan import Plan
from assistant.proof.explore import MOST, Explorer, explore
from assistant.proof.moves import Move
from assistant.proof.space import Nobody, Node, Space
from assistant.proof.views import act_view

from .conftest import Build


class Whole(Explorer):
    """Tries everything everywhere: no part of a state is taken for the whole."""

    def first(self, view: tuple[object, ...]) -> bool:  # noqa: ARG002
        """Call every part new."""
        return True


@pytest.mark.parametrize("crew", ["alone", "mate"])
def test_trying_once_for_each_part_reaches_what_trying_everywhere_reaches(build: Build, crew: str) -> None:
    """A part of a state that decides less than claimed would hide states from the proof."""
    _, plan = build(crew=crew)
    short, whole = explore(plan), Whole(plan, Nobody(), Space(plan)).run()
    assert set(short.nodes) == set(whole.nodes)
    assert short.pairs == whole.pairs
    assert whole.decisions > short.decisions


def raw_walk(plan: Plan, seed: int, length: int) -> list[tuple[State, int]]:
    """Return states of a random run, as the engine itself gives them, with the time of each."""
    chosen = random.Random(seed)
    explorer, engine = Whole(plan, Nobody(), Space(plan)), Engine(plan)
    state, now, out = engine.initial(), 1000, []
    for _ in range(length):
        moves = list(explorer.moves_at(Node(state)))
        move = chosen.choice(moves)
        now += chosen.choice([0, 1, 999]) + move.after
        state = engine.decide(state, move.event, now).state
        out.append((state, now))
        if state.phase is Phase.OVER:
            state = engine.initial()
    return out


@pytest.mark.parametrize("seed", range(12))
def test_what_is_dropped_from_a_state_decides_nothing(build: Build, seed: int) -> None:
    """A real run keeps times, misses and half-done looks; what it comes to is what the kept state comes to."""
    _, plan = build(crew="mate")
    explorer, engine = Whole(plan, Nobody(), Space(plan)), Engine(plan)
    tried = 0
    for state, _ in raw_walk(plan, seed, 60):
        kept = explorer.kept(state)
        for move in explorer.moves_at(Node(kept)):
            if isinstance(move.event, Tick) and move.silent != state.silent and state.phase is not Phase.HOLDING:
                continue
            real = engine.decide(state, move.event, state.since + move.after)
            ours = engine.decide(kept._replace(silent=state.silent), move.event, move.after)
            assert explorer.kept(real.state) == explorer.kept(ours.state), (state, move)
            assert real.kind == ours.kind or {real.kind, ours.kind} <= {"nothing", "hold-counted"}
            tried += 1
    assert tried > 500


def test_silence_is_the_only_thing_that_reads_how_often_nobody_answered(build: Build) -> None:
    """``silent`` is kept as 0; all its values are tried at a tick, and nothing else may read it."""
    _, plan = build()
    explorer, engine = Explorer(plan, Nobody(), Space(plan)), Engine(plan)
    whole = Whole(plan, Nobody(), Space(plan))
    for node in explorer.run().nodes:
        for move in whole.moves_at(node):
            if isinstance(move.event, Tick):
                continue
            ends = {
                explorer.kept(engine.decide(node.state._replace(silent=silent), move.event, move.after).state)
                for silent in range(MOST)
            }
            assert len(ends) == 1, (node, move)


def test_only_answers_and_confirmations_ask_who_speaks(build: Build) -> None:
    """With a driver alone the mate's voice is not tried; with a mate only where it can matter."""
    _, plan = build(crew="mate")
    engine = Engine(plan)
    for node in explore(plan).nodes:
        for phrase in commands.TRIGGERS:
            if phrase == commands.RIGHT:
                continue
            driver, mate = (engine.decide(node.state, Heard(phrase, who), 0) for who in Role)
            assert driver == mate


def test_announced_acts_are_decided_by_the_facts_their_rules_read(build: Build) -> None:
    """``act_view``: two states alike in it are answered alike."""
    _, plan = build()
    engine = Engine(plan)
    answers: dict[tuple[object, ...], tuple[object, ...]] = {}
    for node in explore(plan).nodes:
        for act in plan.acts.values():
            decision = engine.decide(node.state, Heard(act.announce), 0)
            said = (decision.kind, decision.reason, decision.rule)
            assert answers.setdefault((act.id, act_view(plan, node.state, act.id)), said) == said
            assert decision.state == node.state


def test_the_exploration_is_closed(build: Build) -> None:
    """Nothing that can happen in a state that was reached leads out of what was reached."""
    _, plan = build()
    explorer = Explorer(plan, Nobody(), Space(plan))
    space = explorer.run()
    reached = {node.state for node in space.nodes}
    engine = Engine(plan)
    whole = Whole(plan, Nobody(), Space(plan))
    for node in space.nodes:
        for move in whole.moves_at(node):
            after = engine.decide(node.state._replace(silent=move.silent), move.event, move.after).state
            assert explorer.kept(after) in reached


def test_the_way_to_a_state_is_the_shortest(build: Build) -> None:
    """An author replays a fault in as few words as there are."""
    _, plan = build()
    space = explore(plan)
    depth = [len(space.path(index)) for index in range(len(space.nodes))]
    assert depth == sorted(depth)
    assert space.path(0) == []
    assert all(isinstance(move, Move) for move in space.path(len(space.nodes) - 1))


def test_an_act_broken_off_stays_in_doubt_while_facts_are_looked_at(build: Build) -> None:
    """A rig that was moving when the power went is not believed to stand in gear neutral, or wherever it was."""
    _, plan = build(('starts = { brake = "off" }', 'starts = { brake = "off", jaw = "open" }'),
                    ('act = "leave"\nanswer = [', "answer = [") ,
                    ("[look.pin]", '[look.jaw]\nanswer = [\n  { phrase = "jaw-closed", sets = { jaw = "closed" } },\n'
                     '  { phrase = "jaw-open", sets = { jaw = "open" } },\n]\n[look.pin]'))  # fmt: skip
    tug, jaw = plan.position("tug"), plan.fact_names.index("jaw")
    looking = [
        node.state for node in explore(plan).nodes if node.state.phase is Phase.LOOKING and node.state.step == tug
    ]
    assert looking
    assert all(believed(plan, state)[jaw] == "open" for state in looking)
