"""Language models for a closed set: live phrases, number words and decoys in one n-gram.

The decoys are what makes refusal possible. A grammar of the phrases alone forces every sound into
one of them; here any everyday word may stand anywhere, so talk comes out as talk and is then
refused because the whole of it is no phrase.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

START, END = "<s>", "</s>"


@dataclass(frozen=True, slots=True)
class Mixture:
    """How much of the probability decoys get; every figure is a share between 0 and 1.

    ``open_start``: of utterances that begin with anything but a live phrase.
    ``open_inside``: that a phrase once begun goes on as something else.
    ``stop_anywhere``: that an utterance ends after a decoy.
    """

    open_start: float = 0.5
    open_inside: float = 0.2
    stop_anywhere: float = 0.1


def arpa(
    phrases: Mapping[tuple[str, ...], float],
    decoys: Sequence[str],
    loop: Iterable[str] = (),
    mixture: Mixture = Mixture(),
) -> str:
    """Return a trigram model in ARPA form over ``phrases`` (words → weight), decoys and a loop.

    ``loop`` are words that may follow each other freely (number words while a reading is due).
    """
    looped = sorted(set(loop))
    counts = _counts(phrases, looped)
    words = sorted({w for phrase in phrases for w in phrase} | set(decoys) | set(looped))
    each = (1.0 - mixture.stop_anywhere) / max(len(words), 1)
    base: dict[str, float] = dict.fromkeys(words, each)
    base[END] = mixture.stop_anywhere
    pairs, triples = _interpolate(counts, base, mixture)
    contexts = {history for history, _ in triples}
    lines = ["\\data\\", f"ngram 1={len(base) + 1}"]
    lines += [f"ngram 2={len(pairs)}", f"ngram 3={len(triples)}", "", "\\1-grams:"]
    unigram_backoff = _leak(START, mixture)
    lines.append(f"-99 {START} {unigram_backoff:.5f}")
    for word, p in base.items():
        back = _leak(word, mixture) if (word,) in counts else 0.0
        lines.append(f"{math.log10(p):.5f} {word} {back:.5f}")
    lines += ["", "\\2-grams:"]
    for (history, word), p in sorted(pairs.items()):
        back = math.log10(mixture.open_inside) if (history, word) in contexts else 0.0
        lines.append(f"{math.log10(p):.5f} {history} {word} {back:.5f}")
    lines += ["", "\\3-grams:"]
    lines += [f"{math.log10(p):.5f} {h[0]} {h[1]} {w}" for (h, w), p in sorted(triples.items())]
    return "\n".join([*lines, "", "\\end\\", ""])


def _leak(word: str, mixture: Mixture) -> float:
    return math.log10(mixture.open_start if word == START else mixture.open_inside)


Counts = dict[tuple[str, ...], dict[str, float]]


def _counts(phrases: Mapping[tuple[str, ...], float], loop: Sequence[str]) -> Counts:
    """Count what follows each history of one and of two words."""
    counts: Counts = defaultdict(lambda: defaultdict(float))
    for phrase, weight in phrases.items():
        line = (START, *phrase, END)
        for i in range(1, len(line)):
            counts[(line[i - 1],)][line[i]] += weight
            if i > 1:
                counts[(line[i - 2], line[i - 1])][line[i]] += weight
    if loop:
        share = 1.0 / len(loop)
        for word in loop:
            counts[(START,)][word] += share
            for after in (*loop, END):
                counts[(word,)][after] += share
    return counts


def _interpolate(
    counts: Counts, base: Mapping[str, float], mixture: Mixture
) -> tuple[dict[tuple[str, str], float], dict[tuple[tuple[str, str], str], float]]:
    """Mix each history's own followers with the shorter history's."""
    pairs: dict[tuple[str, str], float] = {}
    for history, after in counts.items():
        if len(history) != 1:
            continue
        share = mixture.open_start if history[0] == START else mixture.open_inside
        total = sum(after.values())
        for word, count in after.items():
            pairs[(history[0], word)] = (1.0 - share) * count / total + share * base[word]
    triples: dict[tuple[tuple[str, str], str], float] = {}
    for history, after in counts.items():
        if len(history) == 1:
            continue
        first, second = history
        total = sum(after.values())
        for word, count in after.items():
            shorter = pairs[(second, word)]
            own = (1.0 - mixture.open_inside) * count / total
            triples[((first, second), word)] = own + mixture.open_inside * shorter
    return pairs, triples
