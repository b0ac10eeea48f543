"""Numbers as a closed set that is built while listening: a beam search along the number grammar.

The search keeps the likeliest beginnings of a reading, token by token, and only ever goes on with
words that the grammar allows. What it ends with are candidates like phrases; both ears weigh them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from assistant.ears.pieces import Pieces
from assistant.phrases.number_walk import NumberWalk, Place

BEAM = 12
FOUND = 10  # readings handed on
MOST_TOKENS = 26
LATE = 14.0  # the search ends when no beginning is within this of the best whole reading: a unit is dear to say
STOP_MARK = "."
SPELLINGS = {"psi": ("psi", "PSI", "P S I"), "kpa": ("kPa", "KPA", "K P A")}
"""How a model may write what the grammar has as one word."""

Floats = NDArray[np.float32]
Memory = TypeVar("Memory")


class Decoder(Protocol[Memory]):
    """What the search needs of an ear, for one sound."""

    pieces: Pieces
    end: int

    def first(self) -> tuple[Floats, Memory]:
        """Return log-probabilities of the first token, shape (v,), and the memory of no token."""

    def step(self, tokens: Sequence[int], memory: Memory, parents: Sequence[int]) -> tuple[Floats, Memory]:
        """Take one more token on each of the parents' rows; returns log-probabilities (n, v) and memory."""


@dataclass(frozen=True, slots=True)
class _Start:
    """A beginning of a reading: what it costs so far, and where in word and grammar it stands."""

    odds: float
    token: int
    parent: int
    words: tuple[str, ...]
    written: tuple[str, ...]
    place: Place
    pending: tuple[int, ...]
    closing: bool = False


@lru_cache(maxsize=16)
def walk_of(kind: str, before: str) -> NumberWalk:
    """Return the grammar of a kind, built once."""
    return NumberWalk(kind, before)


def likely_numbers(decoder: Decoder[Memory], walk: NumberWalk) -> list[tuple[str, str]]:
    """Return the likeliest readings, likeliest first, each as the grammar words it and as it is written."""
    odds, memory = decoder.first()
    beam = _best(_further(decoder, walk, odds, None, 0))
    whole: list[tuple[float, str, str]] = []
    for _ in range(MOST_TOKENS):
        if not beam:
            break
        rows, memory = decoder.step([one.token for one in beam], memory, [one.parent for one in beam])
        whole += [
            (one.odds + float(rows[at, decoder.end]), " ".join(one.words), " ".join(one.written))
            for at, one in enumerate(beam)
            if one.closing and not one.pending
        ]
        best = max((odds for odds, _, _ in whole), default=-np.inf)
        going = [further for at, one in enumerate(beam) for further in _further(decoder, walk, rows[at], one, at)]
        beam = [one for one in _best(going) if one.odds > best - LATE]
    return [(words, written) for _, words, written in sorted(whole, reverse=True)[:FOUND]]


def _best(beam: list[_Start]) -> list[_Start]:
    return sorted(beam, key=lambda one: -one.odds)[:BEAM]


def _further(decoder: Decoder[Memory], walk: NumberWalk, odds: Floats, one: _Start | None, at: int) -> list[_Start]:
    """Return every way to go on by one token."""
    before = one.odds if one is not None else 0.0
    if one is not None and one.pending:
        token, *rest = one.pending
        going = (one.words, one.written, one.place, tuple(rest), one.closing)
        return [_Start(before + float(odds[token]), token, at, *going)]
    if one is not None and one.closing:
        return []
    words, written, place = (one.words, one.written, one.place) if one is not None else ((), (), walk.start)
    found = []
    for word, after in walk.after(place).items():
        for spelling in SPELLINGS.get(word, (word,)):
            token, *rest = decoder.pieces.of(spelling if words else spelling.capitalize())
            said = (*words, word), (*written, spelling)
            found.append(_Start(before + float(odds[token]), token, at, *said, after, tuple(rest)))
    if one is not None and walk.may_end(place):
        token = decoder.pieces.mark(STOP_MARK)
        found.append(_Start(before + float(odds[token]), token, at, words, written, place, (), closing=True))
    return found
