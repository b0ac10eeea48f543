"""Whole couplings by recordings: synthetic drivers of two makes and both sexes, heard by the real recognisers."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soxr
from command_line import Hitchcall

from assistant.ears.choose import open_pair
from assistant.ears.wavs import speech_of
from assistant.engine.events import Heard, Measured
from assistant.engine.guide import good_run
from assistant.journal.fold import inputs
from assistant.phrases.numbers import say_reading
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.voice.clip import Clip, write_wav
from assistant.voice.other_voices import OtherVoice, other_voices, say_with

DRIVERS = ("flite-slt", "flite-rms", "festival-slt")
RIG, SITE = "cab-release", "lines-after"
TAKES = (1.0, 1.08, 0.94, 1.15)  # asked again, a driver says it slower, then quicker, then slower still


def _voice(name: str) -> OtherVoice:
    found = [voice for voice in other_voices() if voice.name == name]
    if not found:
        pytest.skip(f"the voice {name} is not installed")
    return found[0]


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
            clip = say_with(voice, words, path)
            slower = np.asarray(soxr.resample(clip.pcm, clip.rate, clip.rate * stretch), np.int16)
            write_wav(path, Clip(slower, clip.rate))
            (utterance,) = [one for one in speech_of(path) if len(one.samples)]
            heard = pair.hear(utterance, ready.live(state))
            if heard.phrase is not None or heard.reading is not None:
                same = heard.phrase == event.phrase if isinstance(event, Heard) else (
                    heard.reading is not None and (heard.reading.value, heard.reading.unit) == (event.value, event.unit)
                )  # fmt: skip
                wrong += [] if same else [f"{words!r} was heard as {heard.phrase or heard.reading}"]
                break
            repeats += 1
    pair.close()
    return repeats, wrong


@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", DRIVERS)
def test_a_recorded_driver_couples_without_a_wrong_answer(
    hitchcall: Hitchcall, home: Path, tmp_path: Path, name: str
) -> None:
    """From WAV files alone the run ends coupled, and no answer was taken for another one."""
    voice = _voice(name)
    ready = prepare(library(), grammars(), "couple", rig=RIG, site=SITE)
    folder = tmp_path / "recordings"
    folder.mkdir()
    repeats, wrong = _record(ready, voice, folder)
    print(f"{name}: {repeats} repeats, wrong: {wrong}")
    assert wrong == []
    ended = hitchcall(
        "run", "couple", "--rig", RIG, "--site", SITE, "--ears", f"wav:{folder}", "--voice", "none", "--json", timeout=800
    )
    told = [json.loads(row) for row in ended.out.splitlines()]
    assert ended.status == 0, (told[-3:], ended.err)
    (run,) = (home / "state/hitchcall/logs").iterdir()
    decisions = [one.decision for one in inputs(run)]
    assert decisions[-1]["outcome"] == "done"
    assert not [one for one in decisions if one["kind"] in {"stopped", "failed", "restarted"}]
