"""Recordings kept with a log: each utterance a FLAC file named by the hash of its samples.

Only with consent. The name is the SHA-256 of the 16 kHz, 16-bit, mono samples (little-endian), which
FLAC gives back bit for bit; so a recording proves itself, and the record "heard" names it.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from assistant.errors import LogError
from assistant.journal.disk import Disk, trouble

if TYPE_CHECKING:  # slow to load, and who verifies logs without recordings needs none of it
    import numpy as np
    from numpy.typing import NDArray

FOLDER = "audio"
SAMPLE_RATE = 16_000
Samples: TypeAlias = "NDArray[np.int16]"
"""Mono audio at 16 kHz, shape (n,)."""


def audio_hash(samples: Samples) -> str:
    """Return the SHA-256 of the samples as little-endian 16-bit integers, 64 hex digits."""
    return hashlib.sha256(samples.astype("<i2", copy=False).tobytes()).hexdigest()


def keep_audio(folder: Path, samples: Samples, disk: Disk | None = None) -> str:
    """Write an utterance into a run's folder and return its hash.

    Complete on the disk when this returns; a second time with the same samples does nothing. Raises
    `LogError` when it cannot be written.
    """
    import soundfile  # noqa: PLC0415 - slow to load, and most runs keep no recordings

    disk = disk or Disk()
    digest = audio_hash(samples)
    path = folder / FOLDER / f"{digest}.flac"
    if path.exists():
        return digest
    packed = io.BytesIO()
    soundfile.write(packed, samples, SAMPLE_RATE, format="FLAC", subtype="PCM_16")
    try:
        disk.make_folder(path.parent)
        disk.save(path, packed.getvalue())
    except OSError as error:
        raise trouble("write the recording", path, error) from error
    return digest


def read_audio(path: Path) -> Samples:
    """Return a kept recording's samples; LogError when it is no such recording."""
    import numpy as np  # noqa: PLC0415 - as above
    import soundfile  # noqa: PLC0415 - as above

    try:
        samples, rate = soundfile.read(str(path), dtype="int16")
    except (OSError, soundfile.SoundFileError) as error:
        raise LogError(f"{path} cannot be read as a recording.") from error
    if rate != SAMPLE_RATE or samples.ndim != 1:
        raise LogError(f"{path} is not a recording of this program: not 16 kHz mono.")
    return np.asarray(samples, dtype=np.int16)


def recordings(folder: Path) -> Iterator[Path]:
    """Yield the recordings of a run, by name."""
    yield from sorted((folder / FOLDER).glob("*.flac"))
