"""The choice of a voice: what is used and why is always told."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from assistant.errors import DeviceError, InputError
from assistant.voice.base import How, Line
from assistant.voice.choose import VOICES, open_voice
from assistant.voice.play import SilentVoice, SpeakerVoice


def test_none_and_file_say_so(tmp_path: Path) -> None:
    """Promise: the notice names the voice in use."""
    assert "screen only" in open_voice("none", "en", tmp_path / "c").notices[-1]
    opened = open_voice(f"file:{tmp_path / 'said'}", "en", tmp_path / "c")
    assert str(tmp_path / "said") in opened.notices[-1]
    assert opened.voice.say([Line("step", "Set the brake.", "brake")]).all_said
    opened.voice.close()


def test_auto_takes_a_loudspeaker_or_tells_why_not(tmp_path: Path) -> None:
    """Promise: auto never fails; without a loudspeaker the reason is told and the screen carries all."""
    opened = open_voice("auto", "en", tmp_path / "c")
    if isinstance(opened.voice, SilentVoice):
        assert "No loudspeaker" in opened.notices[-1]
        with pytest.raises(DeviceError, match="No loudspeaker"):
            open_voice("speaker", "en", tmp_path / "c")
    else:
        assert isinstance(opened.voice, SpeakerVoice)
        assert "loudspeaker" in opened.notices[-1]
    opened.voice.close()


def test_a_named_loudspeaker_that_is_not_there_is_told(tmp_path: Path) -> None:
    """Hazard: a prompt on the wrong device is not heard; a name that fits nothing is refused."""
    with pytest.raises(DeviceError, match="No loudspeaker"):
        open_voice("speaker", "en", tmp_path / "c", device="nowhere at all")


@pytest.mark.parametrize("spec", ["", "file:", "loud", "files:x"])
def test_an_unknown_voice_is_one_sentence(spec: str, tmp_path: Path) -> None:
    """Promise: a mistyped voice names the ones there are."""
    with pytest.raises(InputError, match="auto, speaker, file:FOLDER or none"):
        open_voice(spec, "en", tmp_path / "c")


def test_an_unknown_language_is_one_sentence(tmp_path: Path) -> None:
    """Promise: a language without a voice names those that have one."""
    with pytest.raises(InputError, match="en, ko"):
        open_voice("auto", "xx", tmp_path / "c")


def test_a_missing_synthesiser_stops_a_voice_that_was_asked_for(tmp_path: Path) -> None:
    """Promise: a run asked to speak does not begin mute."""
    with pytest.raises(DeviceError, match="Install espeak-ng"):
        open_voice(
            f"file:{tmp_path / 's'}", "en", tmp_path / "c", command=lambda _: [sys.executable, "-c", ""]
        )


@pytest.mark.parametrize("lang", VOICES)
def test_every_language_is_spoken(lang: str, tmp_path: Path) -> None:
    """Promise: English and Korean prompts come out as sound."""
    opened = open_voice(f"file:{tmp_path / 's'}", lang, tmp_path / "c")
    text = {"en": "Set the brake to 100 psi.", "ko": "브레이크를 거십시오. 690 kPa."}[lang]
    receipt = opened.voice.say([Line("step", text, "brake")])
    opened.voice.close()
    assert receipt.spoken[0].how is How.SPOKEN
    assert receipt.spoken[0].seconds > 1
