"""Whatever file is named: a correct result or one plain sentence, never a guess, never a hang."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.ears.audio import clipped_share, dithered, measure, read_blocks, read_wav
from assistant.ears.wavs import speech_of
from assistant.errors import InputError

TONE = 440.0


def tone(rate: int, seconds: float = 1.0, strength: float = 0.3) -> np.ndarray:
    """A plain tone."""
    return strength * np.sin(2 * np.pi * TONE * np.arange(int(rate * seconds)) / rate)


@pytest.mark.parametrize("rate", [8_000, 11_025, 16_000, 44_100, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_any_rate_and_width_becomes_16_khz_mono(tmp_path: Path, rate: int, channels: int, subtype: str) -> None:
    """A wrong rate is heard as nothing or as something else: pitch and length must be right."""
    path = tmp_path / "a.wav"
    soundfile.write(path, np.tile(tone(rate)[:, None], (1, channels)), rate, subtype=subtype)
    samples = read_wav(path)
    assert abs(len(samples) - 16_000) < 200
    spectrum = np.abs(np.fft.rfft(samples[2_000:14_000].astype(float)))
    assert abs(float(np.argmax(spectrum)) * 16_000 / 12_000 - TONE) < 3
    assert 0.25 < np.abs(samples).max() / 32_768 < 0.35


def test_a_channel_out_of_phase_does_not_cancel_the_voice(tmp_path: Path) -> None:
    """Two microphones wired the wrong way round add up to silence."""
    path = tmp_path / "a.wav"
    soundfile.write(path, np.stack([tone(16_000), -tone(16_000)], axis=1), 16_000)
    assert np.abs(read_wav(path)).max() > 5_000


def bad_files(folder: Path) -> dict[str, Path]:
    """One file for each way a recording can be broken."""
    whole = folder / "whole.wav"
    soundfile.write(whole, tone(16_000), 16_000)
    made = {name: folder / f"{name}.wav" for name in ("text", "empty", "no-sound", "cut", "nan", "low-rate", "head")}
    made["text"].write_text("this is no recording")
    made["empty"].write_bytes(b"")
    soundfile.write(made["no-sound"], np.zeros(0), 16_000)
    made["cut"].write_bytes(whole.read_bytes()[:9_000])
    made["head"].write_bytes(whole.read_bytes()[:20])
    soundfile.write(made["nan"], np.array([0.1, np.nan, 0.2]), 16_000, subtype="FLOAT")
    soundfile.write(made["low-rate"], tone(4_000), 4_000)
    return made | {"folder": folder, "missing": folder / "missing.wav"}


@pytest.mark.parametrize("name", ["text", "empty", "no-sound", "cut", "head", "nan", "low-rate", "folder", "missing"])
def test_a_broken_file_is_refused_in_one_sentence(tmp_path: Path, name: str) -> None:
    """An answer cut in two may be another answer; nothing is guessed about damaged sound."""
    path = bad_files(tmp_path)[name]
    with pytest.raises(InputError) as caught:
        read_wav(path)
    assert str(path) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_hours_are_read_in_blocks(tmp_path: Path) -> None:
    """A two-hour file must not fill the tablet's memory, nor hang it."""
    path = tmp_path / "long.wav"
    count = 2 * 3_600 * 8_000
    head = struct.pack(
        "<4sI4s4sIHHIIHH4sI", b"RIFF", 36 + count, b"WAVE", b"fmt ", 16, 1, 1, 8_000, 8_000, 1, 8, b"data", count
    )
    with path.open("wb") as file:
        file.write(head)
        file.truncate(44 + count)
    largest = total = 0
    for block in read_blocks(path):
        largest, total = max(largest, len(block)), total + len(block)
    assert abs(total - 2 * 3_600 * 16_000) < 16_000
    assert largest < 16_000 * 15
    with pytest.raises(InputError, match="longer than"):
        read_wav(path, longest=30.0)


def test_digital_silence_holds_no_speech(tmp_path: Path) -> None:
    """Exact zeros break some decoders; here they are simply silence."""
    path = tmp_path / "zero.wav"
    soundfile.write(path, np.zeros(48_000), 16_000)
    (only,) = speech_of(path)
    assert len(only.samples) == 0


def test_levels_tell_speech_from_noise_and_clipping() -> None:
    """The refusals "too loud" and "overdriven" rest on these figures."""
    noise = np.random.default_rng(1).standard_normal(32_000) * 100
    loud = noise.copy()
    loud[8_000:20_000] += 3_000 * np.sin(np.arange(12_000) / 5)
    levels = measure(loud.astype(np.int16))
    assert 22 < levels.snr_db < 32
    assert clipped_share(loud.astype(np.int16)) == 0
    cut = np.clip(loud * 30, -32_768, 32_767).astype(np.int16)
    assert clipped_share(cut) > 0.1


@given(st.integers(0, 4_000))
@settings(max_examples=25, deadline=None)
def test_dither_leaves_no_run_of_zeros_and_is_repeatable(count: int) -> None:
    """The same sound must be heard the same way twice: the log is checked by hearing it again."""
    zeros = np.zeros(count, np.int16)
    assert (dithered(zeros) == dithered(zeros)).all()
    assert np.abs(dithered(zeros)).max(initial=0) <= 2
    assert count < 100 or (dithered(zeros) != 0).mean() > 0.5
