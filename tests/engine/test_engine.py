"""The engine at its boundary: events in, decisions out."""

from __future__ import annotations

from decimal import Decimal

import pytest
from drive import Drive
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.engine.events import (
    Begin,
    DeviceChange,
    Heard,
    Measured,
    Microphone,
    NotHeard,
    Resumed,
    Tick,
    event_from_data,
    event_to_data,
)
from assistant.engine.guide import reply
from assistant.engine.record import decision_to_data
from assistant.engine.state import Kind, Phase
from assistant.phrases.live import Role, Unheard
from assistant.prepare import Prepared
from assistant.procedure.plan import forbids, holds


def _lines(drive: Drive) -> list[str]:
    return [line.key for line in drive.last.lines]


def test_raising_over_the_throat_is_refused_and_nothing_moves(drive: Drive) -> None:
    """The pin over the throat: raising brings it down on the plate. Refused at once, with the reason."""
    drive.to("see-pin").say("pin-over-throat")
    assert (drive.step, drive.fact("pin")) == ("wrong-pin", "over throat")
    before = drive.state
    refused = drive.say("raising-suspension")
    assert (refused.kind, refused.rule) == (Kind.REFUSED, "lift-over-throat")
    assert _lines(drive) == ["lift-over-throat"]
    assert drive.state == before


@pytest.mark.parametrize(("step", "phrase"), [("see-release", "release-out"), ("see-gap", "gap-seen"), ("see-jaw", "jaw-open"), ("see-jaw", "jaw-on-head")])
def test_a_failed_sight_fails_the_coupling(drive: Drive, step: str, phrase: str) -> None:
    """Any one of the three sights failing sends everything back to the start with nothing believed."""
    drive.to(step).say(phrase)
    assert drive.last.kind is Kind.FAILED
    assert drive.step == "where-stands"
    assert drive.state.facts == drive.plan.blank
    assert drive.state.undo is None
    assert "fail" in _lines(drive)


def test_a_failed_tug_fails_the_coupling(drive: Drive) -> None:
    """A trailer that comes along in the tug is not held by its brakes, or not coupled."""
    drive.to("tug").say("trailer-moved")
    assert drive.last.kind is Kind.FAILED
    assert drive.state.facts == drive.plan.blank


def test_a_critical_answer_waits_for_its_confirmation(drive: Drive) -> None:
    """A wrong "jaw closed" kills: it is read back, sets nothing before it is confirmed."""
    drive.to("see-jaw").say("jaw-closed")
    assert drive.state.phase is Phase.CONFIRMING
    assert drive.fact("jaw") == "unknown"
    drive.say("correction")
    assert (drive.state.phase, drive.step, drive.fact("jaw")) == (Phase.ASKING, "see-jaw", "unknown")
    drive.say("jaw-closed")
    drive.say("read-back-right")
    assert (drive.step, drive.fact("jaw")) == ("cord", "closed")


def test_silence_never_confirms(drive: Drive) -> None:
    """Silence is not assent: a read-back that nobody answers lapses into stand by."""
    drive.to("see-jaw").say("jaw-closed")
    for _ in range(3):
        drive.put(Tick(), drive.plan.ask_again_ms)
    assert drive.state.phase is Phase.WAITING
    assert drive.fact("jaw") == "unknown"
    drive.say("go-ahead")
    assert (drive.state.phase, drive.step) == (Phase.ASKING, "see-jaw")


def test_correction_takes_the_last_answer_back_with_its_facts(drive: Drive) -> None:
    """A misheard answer can be undone, once, and what it set is gone."""
    drive.to("kingpin").say("kingpin-sound")
    assert drive.fact("kingpin") == "sound"
    drive.say("correction")
    assert (drive.step, drive.fact("kingpin")) == ("kingpin", "unknown")
    drive.say("correction")
    assert (drive.last.kind, drive.last.reason) == (Kind.REFUSED, "nothing-to-take-back")


def test_correction_during_a_move_makes_the_rig_safe_first(drive: Drive) -> None:
    """Taking back an answer while the tractor may be rolling: the brake is asked for before anything."""
    drive.to("back-under")
    assert drive.fact("tractor-brake") == "on"
    drive.say("correction")
    assert drive.state.phase is Phase.LOOKING
    assert drive.last.lines[-1].key == "tractor-brake"
    assert drive.fact("tractor-brake") == "unknown"
    drive.say("parking-brake-off")
    assert (drive.state.phase, drive.last.reason) == (Phase.LOOKING, "secure-first")


def test_a_move_under_way_is_not_believed_parked(drive: Drive) -> None:
    """While backing under is asked for, the brake may be off: leaving the cab is refused."""
    drive.to("back-under").say("leaving-cab")
    assert (drive.last.kind, drive.last.rule) == (Kind.REFUSED, "leave-brake-off")


def test_an_act_is_allowed_at_its_own_step_only(drive: Drive) -> None:
    """Announcing what the step asks for is allowed and sets nothing; elsewhere it is refused."""
    drive.to("tug")
    before = drive.state
    assert drive.say("tugging").kind is Kind.ALLOWED
    assert drive.state == before
    drive.to("see-release").say("tugging")
    assert drive.last.kind is Kind.REFUSED


def test_emergency_stop_ends_only_when_everyone_is_seen_clear(drive: Drive) -> None:
    """After "stop" nothing moves, and going on means looking again at whatever may have changed."""
    drive.to("tug").say("emergency-stop")
    assert drive.state.phase is Phase.STOPPED
    for phrase in ("go-ahead", "tug-held", "tugging", "read-back-right"):
        assert drive.say(phrase).kind is Kind.REFUSED
        assert drive.state.phase is Phase.STOPPED
    drive.say("everyone-clear")
    assert drive.state.phase is Phase.LOOKING
    assert drive.last.lines[-1].key == "tractor-brake"
    assert drive.fact("pin") == "unknown"


def test_a_look_that_differs_starts_again(drive: Drive) -> None:
    """If a thing has changed during an interruption, nothing else can be trusted."""
    drive.to("see-jaw").put(Resumed(changed=False))
    drive.say("parking-brake-set")
    drive.say("read-back-right")
    drive.say("trailer-brake-off")
    assert (drive.last.kind, drive.last.reason) == (Kind.RESTARTED, "look-differs")
    assert drive.state.facts == drive.plan.blank


@pytest.mark.parametrize("cut", [Resumed(changed=False), Microphone(DeviceChange.LOST)])
def test_an_interruption_makes_what_decays_unknown(drive: Drive, cut: Resumed | Microphone) -> None:
    """Power or microphone gone: brakes, chocks, pin and sights are looked at again, the rest is kept."""
    drive.to("cord").put(cut)
    if drive.state.phase is Phase.DEAF:
        assert drive.say("cord-connected").kind is Kind.REFUSED
        drive.put(Microphone(DeviceChange.BACK))
    known = drive.plan.facts_dict(drive.state.facts)
    assert not {"tractor-brake", "trailer-brake", "chocks", "pin", "jaw", "gap", "release"} & set(known)
    assert known["kingpin"] == "sound"
    drive.to("cord")
    assert drive.fact("jaw") == "closed"


def test_a_run_can_be_given_up_while_the_microphone_is_gone(drive: Drive) -> None:
    """A driver nobody can hear must be able to end the run by pad; nothing else may move it."""
    drive.to("cord").put(Microphone(DeviceChange.LOST))
    for phrase in ("start-over", "stand-by", "go-ahead", "read-back-right", "everyone-clear", "cord-connected"):
        drive.say(phrase)
        assert drive.state.phase is Phase.DEAF, phrase
    drive.say("give-up")
    assert (drive.last.kind, drive.state.phase, drive.state.outcome) == (Kind.ENDED, Phase.OVER, "given-up")


def test_files_changed_means_starting_again(drive: Drive) -> None:
    """A run cannot go on in the middle of a procedure that is no longer the same."""
    drive.to("cord").put(Resumed(changed=True))
    assert (drive.last.kind, drive.step) == (Kind.RESUMED, "where-stands")
    assert drive.state.facts == drive.plan.blank


def test_a_long_stand_by_is_an_interruption(drive: Drive) -> None:
    """Back after a long wait: what decays is looked at again; after a short one it is not."""
    drive.to("cord").say("stand-by")
    drive.put(Heard("go-ahead"), 5000)
    assert drive.state.phase is Phase.ASKING
    drive.say("stand-by")
    drive.put(Heard("go-ahead"), drive.plan.long_stand_by_ms)
    assert drive.state.phase is Phase.LOOKING


def _looks_before_air(drive: Drive) -> list[str]:
    """Answer faultlessly until the gauge is asked for; return what was asked before it."""
    asked: list[str] = []
    for _ in range(30):
        line = drive.last.lines[-1]
        if (line.kind, line.key) == ("look", "air"):
            return asked
        asked += [line.key] if line.kind == "look" else []
        drive.put(reply(drive.plan, drive.state).event)
    raise AssertionError("the gauge is never asked for")


def test_air_leaks_off_while_a_run_stands_by(drive: Drive) -> None:
    """An hour later the gauge may show anything: it is read again, and charged before the engine goes off again."""
    drive.to("tug")
    assert drive.fact("air") == "charged"
    drive.say("stand-by")
    drive.put(Heard("go-ahead"), drive.plan.long_stand_by_ms)
    assert drive.fact("air") == "unknown"
    asked = _looks_before_air(drive)
    assert asked[0] == "tractor-brake"
    assert "engine" not in asked
    low = drive.put(Measured(Decimal(60), "psi"))
    assert (low.kind, drive.state.phase) == (Kind.READ_BACK, Phase.CONFIRMING)
    low = drive.say("read-back-right")
    assert (low.kind, low.reason, drive.state.phase) == (Kind.ASKED_AGAIN, "secure-first", Phase.LOOKING)
    assert (low.lines[-1].key, drive.fact("air")) == ("air", "unknown")
    assert drive.put(Measured(Decimal(120), None)).reason == "no-unit"
    assert drive.state.phase is Phase.LOOKING
    drive.put(Measured(Decimal(120), "psi"))
    drive.say("read-back-right")
    assert (drive.fact("air"), drive.last.lines[-1].key) == ("charged", "engine")


def test_air_that_was_low_before_a_break_is_charged_first(drive: Drive) -> None:
    """A gauge that stood too low when the power went is not gone on with as it was."""
    drive.to("pressure")
    drive.put(Measured(Decimal(60), "psi"))
    drive.say("read-back-right")
    assert (drive.step, drive.fact("air")) == ("pressure", "low")
    drive.put(Resumed(changed=False))
    _looks_before_air(drive)
    drive.put(Measured(Decimal(60), "psi"))
    assert drive.say("read-back-right").reason == "secure-first"


def test_a_hold_takes_its_time(ready_cab_release: Prepared) -> None:
    """The cab release is held for its time: no answer counts before, and it is counted aloud."""
    drive = Drive(ready_cab_release).to("lock-open-air")
    assert drive.say("jaws-open").reason == "not-live"
    drive.say("holding-now")
    counted = []
    for _ in range(4):
        counted.append(drive.put(Tick(), 1000).kind)
        assert drive.say("jaws-open").kind is Kind.REFUSED
        drive.now -= 1000
    assert counted == [Kind.HOLD_COUNTED] * 4
    assert drive.put(Tick(), 1000).kind is Kind.HOLD_ENDED
    assert drive.say("jaws-open").kind is Kind.ACCEPTED


@pytest.mark.parametrize(
    ("value", "unit", "reason"),
    [("110", None, "no-unit"), ("110", "mm", "wrong-kind"), ("4000", "psi", "impossible"), ("-5", "psi", "impossible")],
)
def test_a_reading_that_cannot_be_is_asked_again(drive: Drive, value: str, unit: str | None, reason: str) -> None:
    """A number without a unit, of the wrong kind or impossible counts for nothing (FAA AIM 4-2-8: say units)."""
    drive.to("pressure").put(Measured(Decimal(value), unit))
    assert (drive.last.kind, drive.last.reason, drive.step) == (Kind.ASKED_AGAIN, reason, "pressure")


@pytest.mark.parametrize(
    ("value", "unit", "step"),
    [("110", "psi", "crossed"), ("100", "psi", "crossed"), ("99.9", "psi", "pressure"), ("60", "kPa", "pressure"),
     ("760", "kPa", "crossed"), ("7.6", "bar", "crossed")],
)  # fmt: skip
def test_a_reading_is_read_back_converted_and_judged(drive: Drive, value: str, unit: str, step: str) -> None:
    """60 kPa is not 60 psi; exactly at the limit passes (CDL manual section 5: cut-in about 100 psi)."""
    drive.to("pressure").put(Measured(Decimal(value), unit))
    assert drive.state.phase is Phase.CONFIRMING
    drive.say("read-back-right")
    assert drive.step == step


def test_the_mate_cannot_answer_for_the_driver(drive: Drive) -> None:
    """Who must see a thing must say it: the mate's word does not count where the driver's is asked for."""
    drive.to("kingpin").put(Heard("kingpin-sound", Role.MATE))
    assert (drive.last.kind, drive.last.reason) == (Kind.REFUSED, "wrong-voice")


def test_not_understood_three_times_offers_the_pad(drive: Drive) -> None:
    """A driver who is not understood is not left talking to a wall."""
    keys = []
    for _ in range(3):
        drive.put(NotHeard(Unheard.NOT_A_PHRASE))
        keys.append("offer-pad" in _lines(drive))
    assert keys == [False, False, True]


def test_giving_up_is_asked_twice_and_ends_safely(drive: Drive) -> None:
    """Abandoning is confirmed, tells to leave brakes and chocks, and nothing counts afterwards."""
    drive.to("cord").say("give-up")
    assert drive.state.phase is Phase.CONFIRMING
    drive.say("read-back-right")
    assert (drive.state.phase, drive.state.outcome) == (Phase.OVER, "given-up")
    assert drive.say("cord-connected").kind is Kind.NOTHING


_EVENTS = st.deferred(
    lambda: st.one_of(
        st.just(Begin()),
        st.builds(Resumed, st.booleans()),
        st.builds(Measured, st.decimals(-50, 400, places=1), st.sampled_from(["psi", "kPa", "bar", "mm", None])),
        st.builds(NotHeard, st.sampled_from(list(Unheard))),
        st.just(Tick()),
        st.builds(Microphone, st.sampled_from(list(DeviceChange))),
    )
)


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_no_order_of_events_breaks_the_promises(ready: Prepared, data: st.DataObject) -> None:
    """Whatever is said, in whatever order: refusals move nothing, allowed acts break no rule."""
    drive = Drive(ready)
    drive.to(data.draw(st.sampled_from([step.id for step in ready.plan.steps if not step.aside])))
    for _ in range(data.draw(st.integers(1, 25))):
        live = sorted(ready.engine.live(drive.state).phrases) or ["say-again"]
        event = data.draw(st.one_of(st.builds(Heard, st.sampled_from(live), st.sampled_from(list(Role))), _EVENTS))
        assert event_from_data(event_to_data(event)) == event
        before = drive.state
        decision = drive.put(event, data.draw(st.sampled_from([0, 900, 100_000, 700_000])))
        decision_to_data(ready.plan, before, decision)
        if decision.kind in {Kind.REFUSED, Kind.ALLOWED, Kind.NOTHING}:
            assert drive.state == before
        if decision.kind is Kind.ALLOWED:
            act = ready.plan.acts[decision.act]
            assert not [rule.id for rule in act.rules if forbids(rule, before.facts)]
        if drive.state.outcome == "done":
            assert holds(ready.plan.done_needs, drive.state.facts)
        for line in ready.wording.sentences(decision.lines):
            assert line.text
            assert "{" not in line.text
