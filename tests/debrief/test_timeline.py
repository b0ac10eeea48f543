"""One run as moments: true to the engine, in plain words, with the reason beside each refusal."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from made_runs import Made

from assistant.debrief.drawing import as_svg, drawing
from assistant.debrief.moments import Lane, Moment, What
from assistant.debrief.records import RECORDS, clock, lasted
from assistant.engine.events import DeviceChange, Microphone, event_from_data
from assistant.engine.moves import believed
from assistant.journal.fold import inputs
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LogReader
from assistant.journal.records import TYPES, Clock, Decided, Heard, Resumed, Spoke
from assistant.prepare import Prepared
from tests.debrief.conftest import told


def test_the_facts_at_each_moment_are_those_the_engine_believed(
    mistakes: Path, moments: list[Moment], couple: Prepared
) -> None:
    """Hazard: a trainer judges a driver by facts that the assistant did not have. Held against the engine itself."""
    state, engine, checked = couple.engine.initial(), couple.engine, 0
    by_line = {one.number: one for one in moments}
    for one in inputs(mistakes):
        state = engine.decide(state, event_from_data(one.event), one.at).state
        moment = by_line.get(one.line - 1)
        if moment is None:
            continue
        assert moment.facts is not None
        wanted = couple.plan.facts_dict(believed(couple.plan, state))
        assert {fact.name: fact.value for fact in moment.facts if fact.value != "unknown"} == wanted
        doubted = {fact.name for fact in moment.facts if fact.doubt}
        seen = couple.plan.facts_dict(state.facts)
        assert doubted == {name for name in {*seen, *wanted} if seen.get(name) != wanted.get(name)}
        checked += 1
    assert checked > 100


def test_every_record_of_the_log_is_told_once(mistakes: Path, moments: list[Moment]) -> None:
    """Promise: nothing in the log is left out, and nothing stands twice."""
    entries = [entry.seq for entry in LogReader(mistakes)]
    assert [one.number for one in moments] == entries


def test_a_refusal_has_its_reason_its_rule_its_source_and_what_was_told_before(
    moments: list[Moment], couple: Prepared
) -> None:
    """Promise: beside each refusal stand signal word, reason, facts, source, and the last minute's words."""
    refused = [one for one in moments if one.what is What.REFUSAL]
    assert [one.text for one in refused] == [
        "Pulling away was refused. Nothing changed.",
        "Raising the suspension was refused. Nothing changed.",
    ]
    pulling = refused[0].why
    assert pulling is not None
    rule = next(one for one in couple.plan.acts["pull-forward"].rules if one.source == pulling.source)
    assert pulling.text == couple.files.yard_words.never[rule.id].say
    assert pulling.signal == "Danger"
    assert [(fact.name, fact.value) for fact in pulling.facts] == [("lines", "unknown")]
    kinds = {one.kind for one in refused[0].before}
    assert {"step", "hazard", "caution"} <= kinds
    assert all(0 < refused[0].at - one.at < 60_000 for one in refused[0].before)
    assert refused[1].before[-1].text.startswith("Get out and look with a light.")


def test_a_prompt_still_being_said_counts_as_told(small: Made) -> None:
    """Hazard: a driver is blamed for what they could not have heard yet, or excused for what was being said."""
    small.good()
    spoke = [entry for entry in LogReader(small.folder) if isinstance(entry.record, Spoke)]
    moments = told(small.folder, small.prepared)
    assert [one.what for one in moments if one.what is What.PROMPT] == [What.PROMPT] * len(spoke)
    decided = [entry for entry in LogReader(small.folder) if isinstance(entry.record, Decided)]
    # The same log with the last prompt not yet ended: the refusal falls into it.
    from assistant.debrief.telling import Telling
    from assistant.debrief.timeline import Timeline

    fold = Timeline.begin(Telling(small.prepared), exact=True)
    for entry in LogReader(small.folder):
        if entry.seq < spoke[-1].seq:
            list(fold.take(entry))
    small.say("pulling-away")
    refusal = [entry for entry in LogReader(small.folder) if isinstance(entry.record, Decided)][len(decided)]
    (moment,) = fold.take(refusal)
    assert {one.how for one in moment.before} == {"spoken", "under way"}
    assert "Set the tractor parking brake." in [one.text for one in moment.before if one.how == "under way"]


def test_no_id_stands_where_there_are_words(moments: list[Moment], couple: Prepared) -> None:
    """Promise: a trainer reads sentences. No hyphenated id of step, act, rule or phrase shows."""
    plan = couple.plan
    ids = (
        {step.id for step in plan.steps}
        | set(plan.acts)
        | {rule.id for act in plan.acts.values() for rule in act.rules}
    )
    ids |= set(couple.book.phrases)
    hyphenated = {one for one in ids if one.count("-") >= 2}
    assert len(hyphenated) > 20
    shown = " ".join(f"{one.title} {one.text} {one.step}" for one in moments)
    assert [one for one in hyphenated if one in shown] == []


def test_a_wait_a_reading_and_a_failure_are_told_as_such(moments: list[Moment]) -> None:
    """Promise: waits, readings and failed couplings stand out, each as its own kind."""
    decided = [one for one in moments if one.lane is Lane.DECIDED]
    assert [one.title for one in decided if one.what is What.WAIT] == ["Standing by"]
    within = [one for one in decided if one.title == "Reading within its limit"]
    assert len(within) == 2
    assert "Limit: at least 100 psi" in within[0].text
    failed = next(one for one in decided if one.what is What.FAILURE)
    assert failed.title == "Coupling failed"
    assert "shank is showing" in failed.text
    assert failed.facts == ()


def test_other_files_than_the_runs_are_told_and_the_log_s_own_facts_shown(small: Made) -> None:
    """Hazard: new procedure files rewrite what an old run believed. Its facts come from its own decisions then."""
    small.to("see-pin")
    exact = told(small.folder, small.prepared)
    other = told(small.folder, small.prepared, exact=False)

    def seen(found: list[Moment]) -> dict[str, str]:
        return {fact.name: fact.value for fact in found[-2].facts or () if not fact.doubt}

    assert seen(other)["tractor-brake"] == "on"
    assert {name: value for name, value in seen(exact).items() if value != "unknown"}.items() <= seen(other).items()


def test_what_this_program_does_not_know_is_still_told(small: Made) -> None:
    """Hazard: a log of another version breaks the page. Unknown kinds, steps and lines are written out."""
    odd = {
        "kind": "prayed",
        "reason": "no-idea",
        "step": "see-moon",
        "facts": {"moon": "full"},
        "lines": [["hazard", "moon", {}], 7],
    }
    small.writer.append(Decided(event={"event": "heard", "phrase": "moon-full"}, decision=odd))
    small.writer.append(
        Decided(event={"event": "trumpet"}, decision={"kind": "refused", "reason": "moon-rule", "rule": "moon"})
    )
    small.writer.append(Clock(moved_ms=-3_600_000))
    small.writer.append(Resumed(program="0", decayed=("jaw",), changed=(), restarted=False, away_ms=34_000_000))
    prayed, refused, set_back, resumed = told(small.folder, small.prepared)[-4:]
    assert (prayed.title, prayed.step) == ("Prayed", "See moon")
    assert ("moon", "full") in [(fact.name, fact.value) for fact in prayed.facts or ()]
    assert refused.what is What.REFUSAL
    assert set_back.text == "The wall clock was set back by 1 h 0 min."
    assert (resumed.what, resumed.skipped) == (What.INTERRUPTION, 34_000_000)


def test_a_lost_microphone_and_an_emergency_are_drawn_apart(small: Made) -> None:
    """Promise: devices and stops are shapes of their own, told by word and shape and not by colour alone."""
    small.good()
    small.say("emergency-stop")
    small.decide(Microphone(DeviceChange.LOST))
    small.say("pulling-away")
    moments = told(small.folder, small.prepared)
    svg = as_svg(drawing(moments), "t")
    assert {What.EMERGENCY, What.DEVICE, What.REFUSAL} <= {one.what for one in moments}
    assert "STOP</text>" in svg
    assert svg.count("<polygon") == 2
    stop, refusal = (part.split('points="')[1].split('"')[0] for part in svg.split("<polygon")[1:])
    assert len(stop.split()) == 8
    assert len(refusal.split()) == 4


def test_words_that_were_not_kept_leave_what_they_came_to(tmp_path: Path, key: TabletKey, couple: Prepared) -> None:
    """Promise: forgotten words are gone, and what they were taken for stays."""
    made = Made(tmp_path, key, couple)
    made.good()
    made.mumble("my phone number is 555")
    (made.folder / "words.jsonl").unlink()
    moments = told(made.folder, couple)
    assert "555" not in str(moments)
    heard = [one.text for one in moments if one.lane is Lane.SAID]
    assert heard == [
        "tractor stands clear (the words are no longer kept)",
        "I did not understand. (the words are no longer kept)",
    ]


def test_every_type_of_record_has_its_sentence() -> None:
    """Promise: a record type that is added without words is found here, not by a trainer."""
    assert {Spoke, Heard, Decided, *RECORDS} == set(TYPES.values())


def test_times_read_as_people_say_them() -> None:
    """Promise: "90000 ms" is no time for people."""
    assert [lasted(ms) for ms in (400, 45_000, 185_000, 7_800_000, 100_000_000)] == [
        "0 s",
        "45 s",
        "3 min 05 s",
        "2 h 10 min",
        "1 day 3 h",
    ]
    assert [clock(ms) for ms in (0, 61_000, 3_661_000)] == ["0:00", "1:01", "1:01:01"]


def test_moments_are_plain_data(moments: list[Moment]) -> None:
    """Promise: what the page and the reports get is frozen data that can be compared."""
    assert all(dataclasses.asdict(one)["number"] == one.number for one in moments[:5])
    assert moments[3] == dataclasses.replace(moments[3])
