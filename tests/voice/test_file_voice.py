"""The written voice: anyone can listen to what was said, in order, also after a resume."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.errors import InputError
from assistant.voice.base import Hooks, How, Line, Tone
from assistant.voice.clip import Clip, read_wav
from assistant.voice.file_voice import FileVoice
from assistant.voice.speech import Speech

LINES = [
    Line("hazard", "Danger. Crush hazard.", "hazard-crush"),
    Line("step", "Set the tractor park brake.", "step-set-tractor-brake"),
    Line("read-back", "110 psi\tis that right?", "../../etc/Pässwd"),
]


def test_each_line_is_a_numbered_file_and_listed(speech: Speech, tmp_path: Path, hum: Clip) -> None:
    """Promise: three lines are three files that differ, listed with their words, and joined."""
    voice = FileVoice(speech, tmp_path / "said")
    receipt = voice.say(LINES)
    voice.heard(hum, "brakes set")
    voice.tone(Tone.HEARD)
    voice.close()
    assert receipt.all_said
    names = sorted(path.name for path in (tmp_path / "said").iterdir())
    assert names == [
        "0001-hazard-crush.wav",
        "0002-step-set-tractor-brake.wav",
        "0003-read-back-etc-p-sswd.wav",
        "0004-driver-brakes-set.wav",
        "0005-tone-heard.wav",
        "index.txt",
        "session.m3u",
        "session.wav",
    ]
    index = (tmp_path / "said" / "index.txt").read_text(encoding="utf-8").splitlines()
    assert index[0] == "0001-hazard-crush.wav\thazard\tDanger. Crush hazard."
    assert index[2].split("\t")[2] == "110 psi is that right?"
    assert (tmp_path / "said" / "session.m3u").read_text().splitlines() == names[:5]
    clips = [read_wav(tmp_path / "said" / name) for name in names[:5]]
    joined = read_wav(tmp_path / "said" / "session.wav")
    assert isinstance(joined, Clip)
    assert joined.seconds > sum(clip.seconds for clip in clips if isinstance(clip, Clip))
    assert all(isinstance(clip, Clip) for clip in clips)


def test_a_resumed_session_goes_on_in_its_folder(speech: Speech, tmp_path: Path) -> None:
    """Promise: a resumed run overwrites nothing of what was said before the power cut."""
    FileVoice(speech, tmp_path).say(LINES[:1])
    FileVoice(speech, tmp_path).say(LINES[1:2])
    assert [path.name for path in sorted(tmp_path.glob("*.wav"))] == [
        "0001-hazard-crush.wav",
        "0002-step-set-tractor-brake.wav",
    ]


def test_a_line_that_cannot_be_made_is_a_tone_and_listed_as_such(
    broken_speech: Callable[[str], Speech], tmp_path: Path
) -> None:
    """Promise: a missing sentence is seen in the listing, not only in the log."""
    notices: list[str] = []
    voice = FileVoice(broken_speech("sys.exit(1)"), tmp_path / "said", Hooks(notice=notices.append))
    receipt = voice.say(LINES[:1])
    voice.close()
    assert receipt.spoken[0].how is How.TONE
    assert "a tone only" in (tmp_path / "said" / "index.txt").read_text()
    assert notices


def test_a_folder_that_cannot_be_written_is_one_sentence(speech: Speech, tmp_path: Path) -> None:
    """Promise: a wrong folder stops the run before it begins, in one sentence."""
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="name a writable folder"):
        FileVoice(speech, tmp_path / "file")


def test_a_folder_lost_on_the_way_is_told(speech: Speech, tmp_path: Path) -> None:
    """Promise: a memory stick pulled out fails the line, not the session."""
    folder = tmp_path / "said"
    voice = FileVoice(speech, folder)
    (folder / "index.txt").unlink()
    folder.rmdir()
    receipt = voice.say(LINES[:1])
    voice.close()
    assert receipt.spoken[0].how is How.FAILED
    assert "cannot be written" in receipt.spoken[0].reason
