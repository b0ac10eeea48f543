"""Which ears to use: said by the user, or found out, and always told with the reason."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from assistant.ears.base import Ears, Listener, Recogniser
from assistant.ears.fusion import Pair
from assistant.ears.microphone import MicrophoneEars
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.probe import microphone_trouble, no_microphone
from assistant.ears.selftest import no_answers
from assistant.ears.sphinx import SphinxEar
from assistant.ears.typed import TypedEars
from assistant.ears.vosk_ear import VoskEar, find_model
from assistant.ears.wavs import WavEars
from assistant.ears.whisper import WhisperEar
from assistant.ears.words_only import WordsOnly
from assistant.errors import DeviceError, InputError
from assistant.phrases.book import PhraseBook

SPECS = "auto, mic, typed or wav:FOLDER"
LESS_SAFE = "Less safe: a critical answer needs the screen's pad or a typed line."


@dataclass(frozen=True, slots=True)
class OpenedPair:
    """The recognisers and one plain sentence for each thing the user should know about the choice."""

    pair: Listener
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

    English: the closed-set pair, and a vosk model beside it where the user brings one. Any other
    language, or English without the pair: one recogniser alone. Raises InputError when no recogniser
    of the language can be had.
    """
    grammar, why = _vosk(book, vosk_model)
    if book.lang == "en":
        try:
            pair = Pair(MoonshineEar(), WhisperEar(), grammar)
        except DeviceError as error:
            missing = f"The pair of ears that must agree cannot be used ({error})"
        else:
            told = "Ears: Moonshine tiny.en ranks what counts now, Whisper tiny.en weighs it; weights as measured."
            return OpenedPair(pair, (told, *why))
        if grammar is None:
            grammar = SphinxEar(book.decoys, book.pronounce)
            why = ("Ear: pocketsphinx with its own English model and decoy words, because no vosk model is there.",)
        return OpenedPair(WordsOnly(grammar), (*why, missing, LESS_SAFE))
    if grammar is None:
        raise InputError(
            f"There is no recogniser for language {book.lang}; name a vosk model folder with --vosk-model."
        )
    return OpenedPair(WordsOnly(grammar), (*why, f"The pair of ears that must agree knows no {book.lang}.", LESS_SAFE))


def _vosk(book: PhraseBook, named: Path | None) -> tuple[Recogniser | None, tuple[str, ...]]:
    folder = find_model(book.lang, named)
    if folder is None:
        return None, ()
    ear = VoskEar(folder, book.decoys)
    ear.reject_self_test(book.live(book.phrases), no_answers())
    unknown = "" if ear.can_say_unknown else " (the model has no word for unknown speech; decoys stand for it)"
    return ear, (f"Ear: vosk with the model {folder}, which refused the self-test's sounds{unknown}.",)
