"""The way that ``prove`` prints to a fault, typed into the real ``run``, ends in that fault.

Faults of the data are put into a small yard, faults of the engine into its handlers: what nobody
says (waits, power, microphone, noise) is on the shortest way to each.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from assistant.commands.run import run
from assistant.ears.typed import typed_hearing
from assistant.engine import breaks, handlers, telling
from assistant.engine.engine import Engine
from assistant.engine.events import Event
from assistant.engine.moves import current
from assistant.engine.record import decision_to_data
from assistant.engine.state import Decision, Kind, Phase, State
from assistant.errors import HitchcallError
from assistant.journal.fold import inputs
from assistant.journal.verify import State as Verified
from assistant.journal.verify import verify
from assistant.phrases.book import load_book
from assistant.phrases.units import kind_of
from assistant.prepare import library
from assistant.procedure.plan import Plan
from assistant.proof.checks import Finding, check
from assistant.proof.library import Run, plan_of
from assistant.proof.moves import Move, readings
from assistant.proof.spoken import typed_lines
from assistant.shipped import shipped

from .conftest import Build

SKIPPED = ('"pin-clear", sets = { pin = "clear" }, next = "pin"', '"pin-clear", sets = { pin = "clear" }, next = "tug"')
ONLY_ROLLING = [
    ('"pin-in-jaw", sets = { pin = "in jaw" }, critical = true },\n  { phrase = "pin-clear", sets = { pin = "clear" }, next',
     '"pin-in-jaw", sets = { pin = "in jaw", brake = "off" }, critical = true },\n  { phrase = "pin-clear", next'),
    ("[[hazard]]", '[[never]]\nid = "tug-held"\nact = "tug"\nwhen = { brake = ["on"] }\nsignal = "danger"\n'
                   'source = "test yard"\n[[hazard]]'),
]  # fmt: skip
"""The tug is forbidden with the brake on; only an interruption, which sets it first, leads there."""


@pytest.fixture
def tablet(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A tablet of its own for runs in this process; returns where its logs are."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "state/hitchcall/logs"


def broken(monkeypatch: pytest.MonkeyPatch, name: str, new: handlers.Handler) -> None:
    """Put a faulty handler into every engine built from now on, those of the run among them."""
    monkeypatch.setattr("assistant.engine.engine.HANDLERS", {**handlers.HANDLERS, name: new})


def found(files_and_plan: tuple[object, Plan], what: str) -> Finding:
    """Return the nearest finding that says so."""
    return next(one for one in check(*files_and_plan).findings if what in one.fault.what)  # type: ignore[arg-type]


def typed(yard: Path, lines: list[str], *more: str) -> tuple[int, str]:
    """Type lines into the real command; return how it ended and all it printed."""
    arguments = ["join", "--rig", "plain", "--site", "plain", "--procedures", str(yard), "--ears", "typed", "--voice", "none"]
    ended = CliRunner().invoke(run, [*arguments, *more], input="\n".join(lines) + "\n")
    error = ended.exception
    if error is not None and not isinstance(error, HitchcallError | SystemExit):
        raise error
    return error.exit_status if isinstance(error, HitchcallError) else ended.exit_code, ended.output


def decisions(plan: Plan, moves: tuple[Move, ...]) -> list[dict[str, object]]:
    """Return what the engine itself decides on a way, as the log holds it, less what changes nothing."""
    engine, now = Engine(plan), 0
    state, out = engine.initial(), []
    for move in moves:
        for _ in range(move.silent + 1):
            now = max(now, state.since) + move.after
            decision = engine.decide(state, move.event, now)
            if decision.kind is not Kind.NOTHING or decision.lines:
                out.append(decision_to_data(plan, state, decision))
            state = decision.state
    return out


def replayed(tablet: Path, yard: Path, plan: Plan, finding: Finding) -> dict[str, object]:
    """Type the printed way into the real run: it decides just as the proof did. Returns the last decision."""
    lines = typed_lines(finding.moves, load_book(shipped("grammars"), "en"))
    status, printed = typed(yard, lines, "--practice")
    assert status in {0, 5, 6}, printed
    (folder,) = tablet.iterdir()
    real = [dict(one.decision) for one in inputs(folder)]
    assert real == decisions(plan, finding.moves)
    assert verify(folder).state is not Verified.BROKEN
    return real[-1]


def test_a_forbidden_act_behind_a_hold_is_replayed(build: Build, tmp_path: Path, tablet: Path) -> None:
    """``#wait``: the seconds of a hold pass at once, and the step that must not be asked is the one met."""
    files, plan = build(SKIPPED)
    finding = found((files, plan), "asks for tug while the never rule tug-unlocked forbids it")
    assert "#wait 5" in typed_lines(finding.moves)
    last = replayed(tablet, tmp_path, plan, finding)
    assert (last["kind"], last["reason"], last["rule"]) == ("restarted", "act-forbidden", "tug-unlocked")


def test_a_forbidden_act_behind_a_power_cut_is_replayed(build: Build, tmp_path: Path, tablet: Path) -> None:
    """``#power``: the run is dropped and gone on with by its log, as after a real power cut."""
    files, plan = build(*ONLY_ROLLING)
    finding = found((files, plan), "asks for tug while the never rule tug-held forbids it")
    assert "#power" in typed_lines(finding.moves)
    last = replayed(tablet, tmp_path, plan, finding)
    assert (last["kind"], last["reason"], last["rule"]) == ("restarted", "act-forbidden", "tug-held")


def test_what_changed_files_lead_to_is_replayed(
    build: Build, tmp_path: Path, tablet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """``#power changed``: an engine that goes on amid a procedure whose files were changed is seen doing so."""

    def goes_on(plan: Plan, state: State, event: Event, now: int) -> Decision:
        decision = breaks.resume(plan, state, event, now)
        amid = decision.state.phase is Phase.ASKING and event.changed  # type: ignore[union-attr]
        return decision._replace(state=decision.state._replace(step=1)) if amid else decision

    broken(monkeypatch, "resume", goes_on)
    files, plan = build()
    finding = found((files, plan), "still believes something after its files have changed")
    lines = typed_lines(finding.moves)
    assert lines[-1] == "#power changed"
    typed(tmp_path, ["parking brake is set", *lines], "--practice")
    (folder,) = tablet.iterdir()
    last = list(inputs(folder))[-1].decision
    assert (last["kind"], last["reason"], last["step"]) == ("resumed", "files-changed", plan.steps[1].id)


def test_a_sound_engine_stays_stopped_over_changed_files(build: Build, tmp_path: Path, tablet: Path) -> None:
    """Emergency stop: neither a power cut nor other files end it, also amid a command that was not confirmed."""
    build()
    typed(tmp_path, ["stop", "abandon this job", "#power changed", "everyone is clear"], "--practice")
    (folder,) = tablet.iterdir()
    phases = [one.decision["phase"] for one in inputs(folder)]
    assert phases == ["asking", "stopped", "confirming", "stopped", "asking"]


def believes(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Go on believing all that was seen before the microphone was gone."""
    decision = breaks.mic_back(plan, state, event, now)
    if state.phase is not Phase.DEAF or current(plan, state).look >= 0 or state.stale:
        return decision
    return decision._replace(state=state._replace(phase=Phase.ASKING))


def skips(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Take a noise for the answer."""
    decision = telling.misheard(plan, state, event, now)
    return decision._replace(state=decision.state._replace(step=1)) if state.phase is Phase.ASKING else decision


def answers_itself(plan: Plan, state: State, event: Event, now: int) -> Decision:
    """Take silence for the answer."""
    del event
    due = state.phase is Phase.ASKING and now - state.since >= plan.ask_again_ms
    return Decision(state._replace(step=1, since=now), Kind.ASKED_AGAIN, "silence") if due else Decision(state, Kind.NOTHING)


ENGINE_FAULTS = [
    ("mic_back", believes, "still believes brake after an interruption", ["#mic lost", "#mic back"]),
    ("misheard", skips, "moved although the decision was asked-again", ["#noise"]),
    ("tick", answers_itself, "moved although the decision was asked-again", ["#wait 90"]),
]


@pytest.mark.parametrize(("name", "new", "what", "lines"), ENGINE_FAULTS)
def test_what_a_broken_engine_does_is_replayed(
    build: Build, tmp_path: Path, tablet: Path, monkeypatch: pytest.MonkeyPatch,
    name: str, new: handlers.Handler, what: str, lines: list[str],
) -> None:  # fmt: skip
    """``#mic lost``, ``#mic back``, ``#noise``, ``#wait 90``: the real run does what the proof saw the engine do."""
    broken(monkeypatch, name, new)
    files, plan = build()
    finding = found((files, plan), what)
    assert typed_lines(finding.moves)[-len(lines) :] == lines
    replayed(tablet, tmp_path, plan, finding)


@pytest.mark.parametrize("line", ["#wait 90", "#power", "#power changed", "#mic lost", "#mic back", "#noise"])
def test_outside_practice_a_control_line_moves_nothing(build: Build, tmp_path: Path, tablet: Path, line: str) -> None:
    """In a cab nobody puts the clock forward or plays at power cuts: the line is told to be for practice."""
    build()
    status, printed = typed(tmp_path, ["parking brake is set", line])
    assert status == 6
    assert "A line that begins with # counts in a practice run only" in printed
    (folder,) = tablet.iterdir()
    assert [one.decision["kind"] for one in inputs(folder)] == ["begun", "read-back", "asked-again"]


@pytest.mark.parametrize("line", ["#wait", "#wait -5", "#wait 1e9", "#power off", "#mic", "# a remark"])
def test_a_misspelt_control_line_is_told_and_moves_nothing(build: Build, tmp_path: Path, tablet: Path, line: str) -> None:
    """An author who mistypes a line must not believe that it counted."""
    build()
    _, printed = typed(tmp_path, [line], "--practice")
    assert "A line that begins with # counts" in printed
    (folder,) = tablet.iterdir()
    assert [one.decision["reason"] for one in inputs(folder)] == ["", "control-line"]


def test_the_log_of_a_replay_says_that_time_was_put_forward(build: Build, tmp_path: Path, tablet: Path) -> None:
    """Whoever reads the log of a practice run must not take its times for real ones."""
    build()
    typed(tmp_path, ["#wait 90", "#wait 90"], "--practice")
    (folder,) = tablet.iterdir()
    text = (folder / "log.jsonl").read_text(encoding="utf-8")
    assert text.count("practice: the clock was put forward by 90 s") == 2
    assert [one.decision["reason"] for one in inputs(folder)] == ["", "silence", "silence"]
    assert '"type":"clock"' not in text, "a clock put forward is not one that somebody set"


def test_every_reading_the_proof_tries_can_be_typed() -> None:
    """A way that leads through a reading at a limit's edge must be typable to the last digit, at every site."""
    where, book = library(), load_book(shipped("grammars"), "en")
    due = set()
    for procedure in ("couple", "road-ready", "wear-check"):
        for site in where.names("sites"):
            _, plan = plan_of(where, Run(procedure, "slider-air", site, "alone"), "en") or (None, None)
            due |= {step.reading.limit for step in plan.steps if step.reading} if plan else set()
    assert {limit.kind for limit in due} == {"pressure", "time", "length"}
    for limit in due:
        live = book.live([], reading=limit.kind)
        for event in readings(limit):
            (line,) = typed_lines([Move(event)], book)
            heard = typed_hearing(line, live).reading
            if event.unit is not None and kind_of(event.unit) != limit.kind:
                assert heard is None, "the ears take no number of another kind, so the engine never gets one"
                continue
            assert heard is not None, (limit.name, line)
            assert (heard.value, heard.unit) == (event.value, event.unit)
