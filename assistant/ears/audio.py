"""Sound as the ears take it: 16 kHz, 16 bit, one channel, with its levels.

A recording of any rate, width and number of channels is turned into that, in blocks, so that a
file of hours needs no more memory than one of seconds. What cannot be used is refused in one
sentence; nothing is guessed about damaged audio.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from assistant.ears.base import SAMPLE_RATE, Samples
from assistant.errors import InputError

BLOCK_SECONDS = 10.0
LOWEST_RATE = 6_000  # below this, consonants are gone and no answer can be told from another
HIGHEST_RATE = 384_000
FULL_SCALE = 32_768.0
CLIP_LEVEL = 32_700  # 16-bit value from which a sample counts as cut off
CLIP_RUN = 3  # so many cut-off samples in a row are an overdriven input, not a loud peak
SILENCE_DB = -96.0  # what a level is called when there is nothing at all

FrameDb = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Levels:
    """Loudness of one utterance, dB relative to full scale; ``snr_db`` is their difference.

    ``speech_db`` is the power of the louder frames less the noise, ``noise_db`` the power of the
    quietest tenth, ``clipped`` the share of samples that lie in cut-off runs (0 to 1).
    """

    speech_db: float
    noise_db: float
    clipped: float

    @property
    def snr_db(self) -> float:
        """How far the speech stands above the noise, dB."""
        return self.speech_db - self.noise_db


def read_wav(path: Path, *, longest: float | None = None) -> Samples:
    """Return a whole recording as 16 kHz mono; raises InputError in one sentence.

    ``longest`` is the length in seconds from which the file is refused instead of read.
    """
    blocks = list(_bounded(path, read_blocks(path), longest))
    return np.concatenate(blocks) if blocks else np.zeros(0, np.int16)


def _bounded(path: Path, blocks: Iterator[Samples], longest: float | None) -> Iterator[Samples]:
    total = 0
    for block in blocks:
        total += len(block)
        if longest is not None and total > longest * SAMPLE_RATE:
            raise InputError(f"{path}: longer than {longest:g} s; give a recording of one answer.")
        yield block


def read_blocks(path: Path) -> Iterator[Samples]:
    """Yield a recording block by block as 16 kHz mono; raises InputError in one sentence.

    Memory stays bounded whatever the file's length.
    """
    with _opened(path) as sound:
        converter = _Converter(sound.samplerate)
        read = 0
        frames = int(BLOCK_SECONDS * sound.samplerate)
        while True:
            try:
                block = sound.read(frames, dtype="float32", always_2d=True)
            except (soundfile.LibsndfileError, RuntimeError) as error:
                raise InputError(f"{path}: the sound breaks off ({error}); record it again.") from error
            read += len(block)
            last = len(block) < frames
            if not np.isfinite(block).all():
                raise InputError(f"{path}: holds samples that are no numbers; record it again.")
            out = converter.convert(block, last=last)
            if len(out):
                yield out
            if last:
                break
        _check_whole(path, sound, read)


def _opened(path: Path) -> soundfile.SoundFile:
    """Open a sound file, or say in one sentence why it is none."""
    if not path.exists():
        raise InputError(f"{path}: there is no such file; check the name.")
    if not path.is_file():
        raise InputError(f"{path}: is not a file; name a WAV recording.")
    if path.stat().st_size == 0:
        raise InputError(f"{path}: is empty; record it again.")
    try:
        sound = soundfile.SoundFile(str(path))
    except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
        raise InputError(f"{path}: is not a WAV recording; save it as WAV and try again.") from error
    if not LOWEST_RATE <= sound.samplerate <= HIGHEST_RATE:
        rate = sound.samplerate
        sound.close()
        raise InputError(f"{path}: has {rate} samples a second; record at 16,000 or more.")
    if sound.frames == 0:
        sound.close()
        raise InputError(f"{path}: holds no sound; record it again.")
    return sound


def _check_whole(path: Path, sound: soundfile.SoundFile, read: int) -> None:
    """Refuse a file whose header promises more than it holds: an answer may be cut in two."""
    promised = _promised_frames(path, sound)
    if promised is not None and read < promised:
        raise InputError(f"{path}: is cut short (holds {read} of {promised} samples); copy or record it again.")


def _promised_frames(path: Path, sound: soundfile.SoundFile) -> int | None:
    """Return the frames that the RIFF header claims, or None when it claims nothing usable.

    libsndfile quietly trims the count to what is there, so the header is read here too.
    """
    with path.open("rb") as file:
        head = file.read(12)
        if head[:4] != b"RIFF" or head[8:12] != b"WAVE":
            return None
        block_align = 0
        while len(chunk := file.read(8)) == 8:
            size = int.from_bytes(chunk[4:8], "little")
            if chunk[:4] == b"fmt ":
                body = file.read(size)
                block_align = int.from_bytes(body[12:14], "little")
            elif chunk[:4] == b"data":
                streamed = size in (0, 0x7FFF_FFFF, 0xFFFF_FFFF) or size >= 0x7FFF_0000
                coded = sound.subtype not in {"PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"}
                return None if streamed or coded or not block_align else size // block_align
            else:
                file.seek(size + size % 2, 1)
    return None


class _Converter:
    """Turns float blocks of any rate and width into 16 kHz mono 16-bit blocks."""

    def __init__(self, rate: int) -> None:
        self._stream = None
        if rate != SAMPLE_RATE:
            self._stream = soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32", quality="HQ")

    def convert(self, block: NDArray[np.float32], *, last: bool) -> Samples:
        """Return what is ready; ``block`` has shape (frames, channels), full scale 1.0."""
        mono = _mono(block)
        if self._stream is not None:
            mono = self._stream.resample_chunk(mono, last=last)
        scaled = np.clip(np.rint(mono * FULL_SCALE), -32_768, 32_767)
        return np.asarray(scaled, np.int16)


def _mono(block: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mix channels to one; a channel that is dead or out of phase must not cancel the voice."""
    if block.shape[1] == 1:
        return np.ascontiguousarray(block[:, 0])
    mixed = block.mean(axis=1, dtype=np.float32)
    powers = np.square(block, dtype=np.float64).mean(axis=0) if len(block) else np.zeros(block.shape[1])
    mixed_power = float(np.square(mixed, dtype=np.float64).mean()) if len(block) else 0.0
    if mixed_power < 0.25 * float(powers.max(initial=0.0)):
        return np.ascontiguousarray(block[:, int(np.argmax(powers))])
    return np.asarray(mixed, np.float32)


def resample(samples: Samples, rate: int) -> Samples:
    """Turn 16-bit mono of ``rate`` into 16 kHz."""
    if rate == SAMPLE_RATE:
        return samples
    return np.asarray(soxr.resample(samples, rate, SAMPLE_RATE, quality="HQ"), np.int16)


def dithered(samples: Samples) -> Samples:
    """Replace exact digital silence by noise of one step: exact zero breaks some decoders.

    The noise comes from a fixed sequence, so that the same audio is always heard the same way.
    """
    noise = np.random.default_rng(len(samples)).integers(-2, 3, len(samples), np.int16)
    out = samples.astype(np.int32) + noise
    return np.asarray(np.clip(out, -32_768, 32_767), np.int16)


def digest(samples: Samples) -> str:
    """SHA-256 of the samples as little-endian 16-bit, as the log holds it."""
    return hashlib.sha256(samples.astype("<i2").tobytes()).hexdigest()


def frame_levels(samples: Samples, frame: int = 320) -> FrameDb:
    """Return the power of each 20 ms frame in dB relative to full scale, shape (frames,)."""
    count = len(samples) // frame
    if count == 0:
        return np.full(1, SILENCE_DB)
    cut = samples[: count * frame].astype(np.float64).reshape(count, frame) / FULL_SCALE
    power = np.square(cut - cut.mean(axis=1, keepdims=True)).mean(axis=1)
    return np.asarray(10.0 * np.log10(np.maximum(power, 10.0 ** (SILENCE_DB / 10.0))), np.float64)


def measure(samples: Samples) -> Levels:
    """Estimate speech and noise level and clipping of one utterance with some pause around it."""
    levels = frame_levels(samples)
    noise = float(np.percentile(levels, 10))
    loud = float(np.mean(10.0 ** (levels[levels >= np.percentile(levels, 70)] / 10.0)))
    speech = loud - 10.0 ** (noise / 10.0)
    floor = 10.0 ** (SILENCE_DB / 10.0)
    return Levels(float(10.0 * np.log10(max(speech, floor))), noise, clipped_share(samples))


def clipped_share(samples: Samples) -> float:
    """Return the share of samples that lie in runs cut off at full scale (0 to 1)."""
    if len(samples) == 0:
        return 0.0
    over = np.abs(samples.astype(np.int32)) >= CLIP_LEVEL
    edges = np.flatnonzero(np.diff(np.concatenate(([False], over, [False])).astype(np.int8)))
    runs = edges[1::2] - edges[::2]
    return float(runs[runs >= CLIP_RUN].sum()) / len(samples)


def write_wav(path: Path, samples: Samples) -> None:
    """Write 16 kHz mono 16-bit; raises InputError when the place cannot be written."""
    try:
        soundfile.write(str(path), samples, SAMPLE_RATE, subtype="PCM_16", format="WAV")
    except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise InputError(f"{path}: cannot be written ({error}).") from error
