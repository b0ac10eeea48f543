"""Fetch recordings of people who say no answer, from Debian's packages, for the hearing benchmark.

    python -m benchmarks.people FOLDER

Short spoken words and sentences of some ten speakers: prompts of a telephone exchange, shouts and orders in games,
words for children. They become 16 kHz WAV files, a folder for each speaker, outside the repository; nothing of them
is kept in it. Needs ``apt-get``, ``dpkg`` and ``ffmpeg``.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

PACKAGES = ("asterisk-core-sounds-en-g722", "hedgewars-data", "warzone2100-data", "ktuberling-data")
NOT_ENGLISH = ("_es", "_pl", "_ru", "_uk")
NOT_PEOPLE = {"Robot"}
SPOKEN = ("audio/coltive/", "audio/countdown/", "audio/extra/", "audio/memressp/")


def unpacked(folder: Path) -> None:
    """Download the packages and lay their files out under ``folder``."""
    subprocess.run(["apt-get", "download", *PACKAGES], cwd=folder, check=True, capture_output=True)
    for package in sorted(folder.glob("*.deb")):
        subprocess.run(["dpkg", "-x", str(package), str(folder)], check=True)
    for packed in folder.rglob("base.wz"):
        with zipfile.ZipFile(packed) as inside:
            names = [name for name in inside.namelist() if name.startswith(SPOKEN) and name.endswith(".ogg")]
            inside.extractall(folder / "orders", names)


def recordings(folder: Path) -> Iterator[tuple[str, str, Path]]:
    """Yield (speaker, name, file) of each recording; the exchange's one speaker as two, by every other prompt."""
    prompts = sorted(folder.glob("usr/share/asterisk/sounds/en_US_*/**/*.g722"))
    prompts = [path for path in prompts if path.parent.name != "silence"]
    for index, path in enumerate(prompts):
        kind = "said" if path.parent.parent.name == "sounds" else path.parent.name
        yield f"prompts-{index % 2 + 1}", f"{kind}-{path.stem}", path
    for path in sorted(folder.glob("usr/share/games/hedgewars/Data/Sounds/voices/*/*.ogg")):
        voice = path.parent.name
        if voice not in NOT_PEOPLE and not voice.endswith(NOT_ENGLISH):
            yield f"shouts-{voice.lower()}", path.stem, path
    for path in sorted(folder.glob("orders/audio/**/*.ogg")):
        yield "orders", f"{path.parent.name}-{path.stem}", path
    for path in sorted(folder.glob("usr/share/ktuberling/sounds/en/*.ogg")):
        yield "words", path.stem, path


def main() -> None:
    """Fetch and convert."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    wish = parser.parse_args()
    made = failed = 0
    with tempfile.TemporaryDirectory() as there:
        unpacked(Path(there))
        for speaker, name, path in recordings(Path(there)):
            out = wish.folder / speaker / f"{name}.wav"
            out.parent.mkdir(parents=True, exist_ok=True)
            kind = ["-f", "g722"] if path.suffix == ".g722" else []
            command = ["ffmpeg", "-v", "error", "-y", *kind, "-i", str(path), "-ar", "16000", "-ac", "1", str(out)]
            converted = subprocess.run(command, check=False, capture_output=True).returncode == 0
            made, failed = made + converted, failed + (not converted)
            print(f"{made} recordings", end="\r", flush=True)
    print(f"{made} recordings of people in {wish.folder}; {failed} could not be converted.")


if __name__ == "__main__":
    main()
