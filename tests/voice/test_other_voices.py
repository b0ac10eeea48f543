"""The voices of the recorded driver: separate programs, none of which may be steered by its text."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant.errors import InputError
from assistant.voice.other_voices import OtherVoice, other_voices, say_with

ALL = [*other_voices("en"), *other_voices("ko")]


def test_several_programs_and_both_sexes_are_offered() -> None:
    """Promise: the demo driver does not sound like the assistant, nor all drivers like one."""
    espeak = {voice.name for voice in other_voices("en") if voice.name.startswith("espeak")}
    assert espeak
    assert {voice.sex for voice in other_voices("en")} == {"female", "male"}


@pytest.mark.parametrize("voice", ALL, ids=lambda voice: voice.name)
def test_each_installed_voice_speaks(voice: OtherVoice, tmp_path: Path) -> None:
    """Promise: a voice that is listed works, and a longer text is longer sound."""
    short, long = (
        ("jaw closed", "no gap between the plates")
        if voice.lang == "en"
        else ("정지", "틈이 없습니다 보았습니다")
    )
    one = say_with(voice, short, tmp_path / "1.wav")
    two = say_with(voice, long, tmp_path / "2.wav")
    assert two.seconds > one.seconds > 0.2
    assert (tmp_path / "1.wav").stat().st_size > 44 + len(one.pcm)


@pytest.mark.parametrize("voice", ALL, ids=lambda voice: voice.name)
@pytest.mark.parametrize("text", ["-o {0} hello", '(system "touch {0}")', "hello; touch {0}", "$(touch {0})"])
def test_text_cannot_steer_a_program(voice: OtherVoice, text: str, tmp_path: Path) -> None:
    """Hazard: text from a script must not become a flag, a file or a Festival command."""
    target = tmp_path / "written"
    say_with(voice, text.format(target), tmp_path / "out.wav")
    assert not target.exists()


def test_control_characters_are_refused(tmp_path: Path) -> None:
    """Promise: what the assistant may not say, its test driver may not either."""
    with pytest.raises(InputError):
        say_with(other_voices()[0], "a\x00b", tmp_path / "x.wav")
