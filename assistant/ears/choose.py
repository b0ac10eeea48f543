"""Which ears to use: said by the user, or found out, and always told with the reason."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from assistant.ears.base import Ears, Recogniser
from assistant.ears.fusion import Pair
from assistant.ears.scorer import ScorerEar
from assistant.ears.sphinx import SphinxEar
from assistant.ears.typed import TypedEars
from assistant.ears.wavs import WavEars
from assistant.errors import DeviceError, InputError
from assistant.phrases.book import PhraseBook

SPECS = "auto, mic, typed or wav:FOLDER"


@dataclass(frozen=True, slots=True)
class OpenedPair:
    """The recognisers and one plain sentence for each thing the user should know about the choice."""

    pair: Pair
    notices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Opened:
    """The ears and one plain sentence for each thing the user should know about the choice."""

    ears: Ears
    notices: tuple[str, ...]


def open_ears(spec: str, book: PhraseBook, *, vosk_model: Path | None = None, device: str = "") -> Opened:
    """Open the ears named by ``spec``: "auto", "mic", "typed" or "wav:FOLDER".

    "auto" takes the microphone when there is one and typed lines when not. ``vosk_model`` is a
    model folder named by the user, ``device`` (part of) a microphone's name. Raises InputError for
    what cannot be as asked, DeviceError when recogniser or microphone fail.
    """
    if spec == "typed":
        return Opened(TypedEars(), ("Ears: typed lines, as asked.",))
    if spec.startswith("wav:"):
        folder = spec.removeprefix("wav:")
        if not folder:
            raise InputError("wav: names no folder; write wav:FOLDER.")
        opened = open_pair(book, vosk_model=vosk_model)
        return Opened(WavEars(Path(folder), opened.pair), (f"Ears: recordings in {folder}.", *opened.notices))
    raise InputError(f"There are no ears {spec!r}; use {SPECS}.")


def open_pair(book: PhraseBook, *, vosk_model: Path | None = None) -> OpenedPair:
    """Load the recognisers of a language; says which and why."""
    first = SphinxEar(book.decoys, book.pronounce)
    notices = ["First ear: pocketsphinx with decoy words."]
    second: Recogniser | None = None
    try:
        second = ScorerEar()
        notices.append("Second ear: Whisper tiny.en, scoring the live phrases.")
    except DeviceError as error:
        notices.append(
            f"Second ear: none ({error}) Less safe: a critical answer needs the screen's pad or a typed line."
        )
    return OpenedPair(Pair(first, second), tuple(notices))
