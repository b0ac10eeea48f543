"""Hearing again what the driver heard: the run's own voice, its pauses, and kept recordings bit for bit."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

from assistant.debrief.moments import Lane, Moment, Told, What
from assistant.debrief.sound import LONG_PAUSE_MS, RATE, Sounds, schedule, write_joined
from assistant.errors import InputError
from assistant.journal.audio import FOLDER, read_audio
from assistant.voice.base import Tone
from assistant.voice.loudness import Manner, Settings
from assistant.voice.tones import tone_clip


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Sounds]:
    """The real synthesiser, with a cache of its own."""
    made = Sounds(tmp_path_factory.mktemp("voice"))
    yield made
    made.close()


def test_a_replay_keeps_the_runs_pauses(moments: list[Moment]) -> None:
    """Promise: real time is real time: each sound comes as long after the first as in the run."""
    due = schedule(moments)
    first = due[0]
    assert len(due) > 300
    for one in due:
        assert one.at - first.at == max(0, one.moment.start - first.moment.start)


def test_shortened_pauses_leave_every_sound_and_its_order(moments: list[Moment]) -> None:
    """Promise: shortening leaves out nothing but silence."""
    whole, short = schedule(moments), schedule(moments, shortened=True)
    assert [one.moment for one in whole] == [one.moment for one in short]
    assert short[-1].at < whole[-1].at * 0.6
    for before, after in itertools.pairwise(short):
        assert after.at - before.at <= LONG_PAUSE_MS + max(0, before.moment.at - before.moment.start)


def test_a_night_between_is_no_pause(moments: list[Moment]) -> None:
    """Hazard: a run taken up next morning is replayed with ten hours of silence."""
    night = 36_000_000
    later = [dataclasses.replace(one, start=one.start + night, at=one.at + night) for one in moments[100:]]
    cut = dataclasses.replace(
        later[0], number=9_999, start=later[0].start - 10, at=later[0].start - 10, what=What.INTERRUPTION, lane=Lane.TABLET,
        skipped=night, lines=(), tone="", audio="",
    )  # fmt: skip
    due = schedule([*moments[:100], cut, *later])
    assert [one.moment.number for one in due] == [one.moment.number for one in schedule(moments)]
    assert due[-1].at == pytest.approx(schedule(moments)[-1].at, abs=20)


def test_a_kept_recording_is_played_as_it_is(mistakes: Path, moments: list[Moment], sounds: Sounds) -> None:
    """Promise: what the driver said is heard from the recording itself, not made up."""
    heard = next(one for one in moments if one.audio)
    clip = sounds.of(heard, "en", mistakes)
    assert clip is not None
    kept = read_audio(mistakes / FOLDER / f"{heard.audio}.flac")
    assert np.array_equal(clip.pcm, np.asarray(soxr.resample(kept, 16_000, RATE), np.int16))


def test_a_prompt_is_spoken_again_in_the_voice_of_that_moment(
    mistakes: Path, moments: list[Moment], sounds: Sounds
) -> None:
    """Promise: a driver who asked for slower is replayed slower; a prompt that was cut is as short as it was."""
    prompt = next(one for one in moments if one.what is What.PROMPT and len(one.lines) == 2)
    usual = sounds.of(prompt, "en", mistakes)
    slow = sounds.of(dataclasses.replace(prompt, changes=("slower", "slower")), "en", mistakes)
    again = sounds.of(prompt, "en", mistakes)
    assert usual is not None
    assert slow is not None
    assert again is not None
    wanted, _ = Settings(Manner()).changed("slower")
    assert slow.seconds > usual.seconds * Manner().rate / wanted.manner.rate * 0.98
    assert np.array_equal(usual.pcm, again.pcm)
    cut = tuple(dataclasses.replace(line, how="cut") for line in prompt.lines)
    short = sounds.of(dataclasses.replace(prompt, lines=cut, start=prompt.at - 700), "en", mistakes)
    assert short is not None
    assert short.seconds == pytest.approx(0.7, abs=0.01)


def test_a_refusal_is_heard_with_its_tone(mistakes: Path, moments: list[Moment], sounds: Sounds) -> None:
    """Promise: the trainer hears the refusal's own tone, as the driver did."""
    refusal = next(one for one in moments if one.what is What.REFUSAL)
    clip = sounds.of(refusal, "en", mistakes)
    assert clip is not None
    assert len(clip.pcm) == len(tone_clip(Tone.REFUSED).pcm)


def test_what_was_heard_is_joined_into_one_recording(
    tmp_path: Path, mistakes: Path, moments: list[Moment], sounds: Sounds
) -> None:
    """Promise: one file to listen to elsewhere, pauses kept or shortened, sound after sound without overlap."""
    part = moments[:16]
    lengths = {}
    for shortened in (False, True):
        out = tmp_path / f"heard-{shortened}.flac"
        write_joined(sounds, part, "en", mistakes, out, shortened=shortened)
        lengths[shortened] = soundfile.info(out).duration
    clips = [sounds.of(one.moment, "en", mistakes) for one in schedule(part)]
    whole = sum(clip.seconds for clip in clips if clip is not None)
    assert lengths[True] >= whole - 0.01
    assert lengths[False] > lengths[True] > 5
    assert lengths[False] >= schedule(part)[-1].at / 1000


def test_a_week_of_silence_and_an_unknown_language_are_refused_in_a_sentence(
    tmp_path: Path, moments: list[Moment], sounds: Sounds
) -> None:
    """Promise: nothing writes for ever, and nothing is spoken in a wrong voice."""
    late = dataclasses.replace(moments[3], start=10**9, at=10**9 + 1)
    with pytest.raises(InputError, match="three hours"):
        write_joined(sounds, [moments[3], late], "en", tmp_path, tmp_path / "x.flac", shortened=False)
    with pytest.raises(InputError, match="no voice for language xx"):
        sounds.of(moments[3], "xx", tmp_path)
    silent = dataclasses.replace(moments[3], lines=(Told(0, "info", "  "),))
    assert sounds.of(silent, "en", tmp_path) is None
