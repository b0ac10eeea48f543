"""Whole couplings by recordings: synthetic drivers of two makes and both sexes, heard by the real recognisers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import Hitchcall

from assistant.commands.phrases import script_lines
from assistant.journal.fold import inputs
from assistant.prepare import grammars, library, prepare
from assistant.voice.other_voices import OtherVoice, other_voices, say_with

DRIVERS = ("flite-slt", "festival-ked", "espeak-gb")
RIG, SITE = "cab-release", "lines-after"


def _voice(name: str) -> OtherVoice:
    found = [voice for voice in other_voices() if voice.name == name]
    if not found:
        pytest.skip(f"the voice {name} is not installed")
    return found[0]


@pytest.mark.timeout(900)
@pytest.mark.parametrize("name", DRIVERS)
def test_a_recorded_driver_couples_without_a_wrong_answer(
    hitchcall: Hitchcall, home: Path, tmp_path: Path, name: str
) -> None:
    """From WAV files alone the run ends coupled, and no answer was taken for another one."""
    voice = _voice(name)
    ready = prepare(library(), grammars(), "couple", rig=RIG, site=SITE)
    lines = script_lines(ready)
    folder = tmp_path / "recordings"
    folder.mkdir()
    for number, line in enumerate(lines):
        say_with(voice, line, folder / f"{number:03d}.wav")
    ended = hitchcall(
        "run", "couple", "--rig", RIG, "--site", SITE, "--ears", f"wav:{folder}", "--voice", "none", "--json", timeout=800
    )
    told = [json.loads(row) for row in ended.out.splitlines()]
    wrong = [
        (one["step"], one["heard"]) for one in told
        if one.get("kind") in {"accepted", "read-back", "failed", "stopped", "restarted"}
        and one["heard"] and one["heard"]["phrase"] and one["heard"]["words"] not in lines
    ]  # fmt: skip
    assert wrong == []
    assert ended.status == 0, ended.out[-1500:] + ended.err
    (run,) = (home / "state/hitchcall/logs").iterdir()
    assert [one.decision for one in inputs(run)][-1]["outcome"] == "done"
