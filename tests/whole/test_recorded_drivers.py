"""Whole runs by recordings: synthetic drivers of two makes and both sexes, heard by the real recognisers.

Hearing costs a second of processor time a line, so each driver does another part of what must be shown:
the command's own recorded driver couples, with its refusals; a folder of WAV files takes a run with
readings to its end; a voice of another make recovers a failed coupling. All procedures and voices are
driven by ``benchmarks/recorded_runs.py``.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from browser import CHROMIUM
from command_line import Hitchcall

from assistant.ears.choose import open_pair
from assistant.ears.wavs import speech_of
from assistant.engine.events import Heard, Measured, event_from_data, event_of
from assistant.engine.guide import good_run, reply
from assistant.engine.state import Outcome
from assistant.journal.fold import inputs
from assistant.journal.reader import LogReader
from assistant.journal.verify import State as Verified
from assistant.journal.verify import verify
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.recorded_driver import TAKES, TOO_SOON, at_pace
from assistant.voice.other_voices import OtherVoice, other_voices, say_with
from benchmarks.recorded_runs import drive
from tests.screen.follow import Shown, run_followed

RIG, SITE = "cab-release", "lines-after"


def _voice(name: str) -> OtherVoice:
    found = [voice for voice in other_voices() if voice.name == name]
    if not found:
        pytest.skip(f"the voice {name} is not installed")
    return found[0]


def _only_run(home: Path) -> Path:
    (run,) = (home / "state/hitchcall/logs").iterdir()
    return run


def _wrong(ready: Prepared, run: Path) -> list[object]:
    """Return what a log's run took for an answer, a reading or an announcement that its driver did not give."""
    state, wrong = ready.engine.initial(), []
    too_soon = {Heard(phrase) for phrase in TOO_SOON.values()}
    for one in inputs(run):
        event = event_from_data(one.event)
        if isinstance(event, Heard | Measured) and event not in {reply(ready.plan, state).event, *too_soon}:
            wrong.append(event)
        state = ready.engine.decide(state, event, one.at).state
    return wrong


@pytest.mark.timeout(900)
def test_the_recorded_driver_couples_and_is_refused_what_comes_too_soon(
    hitchcall: Hitchcall, environment: dict[str, str], home: Path
) -> None:
    """The demonstration: heard by the real ears alone the run ends coupled, and no answer was taken for another.

    The page is open in a browser, where there is one, and shows every decision.
    """
    command = ("run", "couple", "--rig", RIG, "--site", SITE, "--ears", "recorded", "--voice", "none")
    shown: Shown = []
    if CHROMIUM:
        ended, shown = run_followed(command, environment, 600)
    else:
        ended = hitchcall(*command, "--json", timeout=800)
    assert ended.status == 0, (ended.out[-800:], ended.err)
    run, ready = _only_run(home), prepare(library(), grammars(), "couple", rig=RIG, site=SITE)
    decisions = [one.decision for one in inputs(run)]
    assert decisions[-1]["outcome"] == "done"
    assert not [one for one in decisions if one["kind"] in {"stopped", "failed", "restarted"}]
    refused = [one["act"] for one in decisions if one["kind"] == "refused" and one["act"]]
    said_too_soon = [ready.plan.by_announcement[phrase].id for step, phrase in TOO_SOON.items()
                     if step in {one.id for one in ready.plan.steps}]  # fmt: skip
    assert sorted(map(str, refused)) == sorted(said_too_soon)
    assert _wrong(ready, run) == []
    assert verify(run).state is Verified.WHOLE
    if CHROMIUM:
        _shown_whole(run, shown)


def _shown_whole(run: Path, shown: Shown) -> None:
    """The page drew what was decided, in order, to the end, and nothing else."""
    decided = [entry.seq for entry in LogReader(run) if entry.kind == "decided"]
    records = [record for record, _ in shown]
    assert records == sorted(records)
    assert set(records) <= {0, *decided}  # 0: the page was opened before anything was decided
    assert records[-1] == decided[-1]
    assert len(set(records)) > len(decided) // 2  # a page that is opened late, or drawn slowly, may skip some
    assert any("Is the jaw closed around the shank" in sentence for _, sentence in shown)
    assert "Coupled and seen" in shown[-1][1]


def _record(ready: Prepared, voice: OtherVoice, folder: Path) -> tuple[int, list[str]]:
    """Record what the driver says, again where it is not understood; returns repeats and wrong hearings."""
    pair = open_pair(ready.book).pair
    repeats, wrong = 0, []
    for number, (state, told) in enumerate(good_run(ready.engine)):
        event = told.event
        if isinstance(event, Measured):
            words = say_reading(event.value, event.unit, ready.book.lang)
        elif isinstance(event, Heard):
            words = ready.wording.says(event.phrase)
        else:
            continue
        for take, stretch in enumerate(TAKES):
            path = folder / f"{number:03d}-{take}.wav"
            at_pace(say_with(voice, words, path), stretch, path)
            (utterance,) = [one for one in speech_of(path) if len(one.samples)]
            heard = pair.hear(utterance, ready.live(state))
            if heard.unheard is None:
                wrong += [] if event_of(heard) == event else [f"{words!r} was heard as {heard.phrase or heard.reading}"]
                break
            repeats += 1
    pair.close()
    return repeats, wrong


@pytest.mark.timeout(600)
def test_a_folder_of_recordings_takes_a_run_with_readings_to_its_end(
    hitchcall: Hitchcall, home: Path, tmp_path: Path
) -> None:
    """From WAV files alone the wear check ends with its claim, and no number was taken for another."""
    voice = _voice("flite-rms")
    ready = prepare(library(), grammars(), "wear-check", rig=RIG, site=SITE)
    folder = tmp_path / "recordings"
    folder.mkdir()
    repeats, wrong = _record(ready, voice, folder)
    print(f"{voice.name}: {repeats} repeats, wrong: {wrong}")
    assert wrong == []
    ended = hitchcall(
        "run", "wear-check", "--rig", RIG, "--site", SITE, "--ears", f"wav:{folder}", "--voice", "none", "--json",
        timeout=500,
    )  # fmt: skip
    told = [json.loads(row) for row in ended.out.splitlines()]
    assert ended.status == 0, (told[-3:], ended.err)
    decisions = [one.decision for one in inputs(_only_run(home))]
    assert decisions[-1]["outcome"] == "done"
    assert not [one for one in decisions if one["kind"] in {"stopped", "failed", "restarted"}]


@pytest.mark.timeout(600)
def test_a_voice_of_another_make_recovers_a_failed_coupling(tmp_path: Path) -> None:
    """Two makes of voice differ as people do: what one is understood in must not hang on its program."""
    ready = prepare(library(), grammars(), "recover", rig=RIG, site=SITE)
    told = drive(ready, open_pair(ready.book).pair, _voice("festival-slt"), tmp_path)
    assert (told.wrong, told.log, told.outcome) == ([], "verifies", Outcome.DONE), (told.step, told.again)
