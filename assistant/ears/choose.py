"""Which ears to use: said by the user, or found out, and always told with the reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from assistant.ears.base import Ears, Recogniser
from assistant.ears.fusion import Pair
from assistant.ears.microphone import MicrophoneEars
from assistant.ears.probe import microphone_trouble, no_microphone
from assistant.ears.scorer import ScorerEar
from assistant.ears.selftest import no_answers
from assistant.ears.sphinx import SphinxEar
from assistant.ears.typed import TypedEars
from assistant.ears.vosk_ear import VoskEar, find_model
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


def open_ears(
    spec: str,
    book: PhraseBook,
    *,
    vosk_model: Path | None = None,
    device: str = "",
    trouble_with: Callable[[str], str] = microphone_trouble,
) -> Opened:
    """Open the ears named by ``spec``: "auto", "mic", "typed" or "wav:FOLDER".

    "auto" takes the microphone when there is one and typed lines when not. ``vosk_model`` is a
    model folder named by the user, ``device`` (part of) a microphone's name; ``trouble_with`` a name
    says why there is no such microphone. Raises InputError for what cannot be as asked, DeviceError
    when recogniser or microphone fail.
    """
    if spec == "typed":
        return Opened(TypedEars(), ("Ears: typed lines, as asked.",))
    if spec.startswith("wav:"):
        folder = spec.removeprefix("wav:")
        if not folder:
            raise InputError("wav: names no folder; write wav:FOLDER.")
        opened = open_pair(book, vosk_model=vosk_model)
        return Opened(WavEars(Path(folder), opened.pair), (f"Ears: recordings in {folder}.", *opened.notices))
    if spec not in {"auto", "mic"}:
        raise InputError(f"There are no ears {spec!r}; use {SPECS}.")
    trouble = trouble_with(device)
    if trouble and spec == "mic":
        raise no_microphone(trouble)
    if trouble:
        return Opened(TypedEars(), (f"Ears: typed lines, because there is no microphone ({trouble}).",))
    opened = open_pair(book, vosk_model=vosk_model)
    return Opened(MicrophoneEars(opened.pair, device), ("Ears: the microphone.", *opened.notices))


def open_pair(book: PhraseBook, *, vosk_model: Path | None = None) -> OpenedPair:
    """Load the recognisers of a language and say which and why.

    The first ear is vosk when a model of the language is there, else pocketsphinx (English only).
    Raises InputError when no recogniser of the language can be had.
    """
    first, why = _first_ear(book, vosk_model)
    notices = [f"First ear: {why}"]
    second, why = _second_ear(book.lang)
    if second is None:
        why += " Less safe: a critical answer needs the screen's pad or a typed line."
    notices.append(f"Second ear: {why}")
    return OpenedPair(Pair(first, second), tuple(notices))


def _first_ear(book: PhraseBook, named: Path | None) -> tuple[Recogniser, str]:
    folder = find_model(book.lang, named)
    if folder is not None:
        ear = VoskEar(folder, book.decoys)
        ear.reject_self_test(book.live(book.phrases), no_answers())
        unknown = "" if ear.can_say_unknown else " (the model has no word for unknown speech; decoys stand for it)"
        return ear, f"vosk with the model {folder}, which refused the self-test's sounds{unknown}."
    if book.lang != "en":
        raise InputError(
            f"There is no recogniser for language {book.lang}; name a vosk model folder with --vosk-model."
        )
    why = "pocketsphinx with its own English model and decoy words, because no vosk model is there."
    return SphinxEar(book.decoys, book.pronounce), why


def _second_ear(lang: str) -> tuple[Recogniser | None, str]:
    if lang != "en":
        return None, f"none; the closed-set scorer knows English only, not {lang}."
    try:
        return ScorerEar(), "Whisper tiny.en, which scores the live phrases; its weights are the measured ones."
    except DeviceError as error:
        return None, f"none ({error})"
