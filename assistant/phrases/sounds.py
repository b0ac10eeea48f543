"""How phrases sound, and how near two of them are.

Pronunciations come from the recogniser's own dictionary file (one "word PH ON ES" a line, further
ones as "word(2)"), because what it cannot tell apart is what matters; the grammar file's
``[pronounce]`` replaces an entry. Distance is an edit distance over phones in which like phones cost
less than unlike ones and a lost weak sound less than a strong one. The costs are our own, from the
usual phonetic features (from memory); they rank pairs, they are no probability.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from assistant.errors import InputError
from assistant.phrases.live import Live

Phones = tuple[str, ...]
MAX_PRONUNCIATIONS = 24  # of one phrase; five words with two each already make 32

# manner, place (front 0 to back 6), voiced
_CONSONANTS: dict[str, tuple[str, int, bool]] = {
    "P": ("stop", 0, False), "B": ("stop", 0, True), "T": ("stop", 3, False), "D": ("stop", 3, True),
    "K": ("stop", 5, False), "G": ("stop", 5, True), "F": ("hiss", 1, False), "V": ("hiss", 1, True),
    "TH": ("hiss", 2, False), "DH": ("hiss", 2, True), "S": ("hiss", 3, False), "Z": ("hiss", 3, True),
    "SH": ("hiss", 4, False), "ZH": ("hiss", 4, True), "HH": ("hiss", 6, False),
    "CH": ("burst", 4, False), "JH": ("burst", 4, True), "M": ("nose", 0, True), "N": ("nose", 3, True),
    "NG": ("nose", 5, True), "L": ("glide", 3, True), "R": ("glide", 4, True), "Y": ("glide", 4, True),
    "W": ("glide", 0, True),
}  # fmt: skip
# openness 0 to 3, backness 0 to 2, glides towards
_VOWELS: dict[str, tuple[float, float, str]] = {
    "IY": (0, 0, ""), "IH": (0.6, 0.3, ""), "EY": (1, 0, "i"), "EH": (1.6, 0.2, ""), "AE": (2.4, 0.4, ""),
    "AA": (3, 1.6, ""), "AH": (1.8, 1, ""), "AO": (2.2, 2, ""), "OW": (1.2, 2, "u"), "UH": (0.6, 1.7, ""),
    "UW": (0, 2, ""), "ER": (1.4, 1, "r"), "AY": (2.6, 1, "i"), "AW": (2.6, 1.2, "u"), "OY": (1.8, 1.8, "i"),
}  # fmt: skip
_NEAR = {frozenset(pair): 0.3 for pair in (("ER", "R"), ("IY", "Y"), ("UW", "W"), ("L", "W"), ("R", "W"), ("R", "Y"))}
_WEAK = {"AH": 0.6, "IH": 0.7, "T": 0.5, "D": 0.5, "HH": 0.4, "S": 0.6, "Z": 0.5, "DH": 0.5, "V": 0.6}
PHONES = frozenset(_CONSONANTS) | frozenset(_VOWELS)


@dataclass(frozen=True, slots=True)
class Clash:
    """Two wordings that sound alike: their ids, texts, and how far apart they are.

    ``distance`` is in whole-phone units, ``ratio`` the same per phone of the longer one (0 to 1).
    """

    first: str
    first_says: str
    second: str
    second_says: str
    distance: float
    ratio: float


@dataclass(frozen=True)
class Dictionary:
    """Pronunciations by word, in capitals without stress marks."""

    entries: Mapping[str, tuple[Phones, ...]]

    def missing(self, words: Iterable[str]) -> tuple[str, ...]:
        """Return the words without a pronunciation, sorted."""
        return tuple(sorted({word for word in words if word not in self.entries}))

    def phrase(self, says: str) -> tuple[Phones, ...]:
        """Return the pronunciations of a phrase as phone strings; () when a word is missing."""
        choices = [self.entries.get(word, ()) for word in says.split()]
        joined = itertools.islice(itertools.product(*choices), MAX_PRONUNCIATIONS)
        return tuple(dict.fromkeys(tuple(itertools.chain(*words)) for words in joined))

    def syllables(self, says: str) -> int:
        """Return the fewest syllables the phrase can be said in; 0 when a word is missing."""
        return min((sum(phone in _VOWELS for phone in phones) for phones in self.phrase(says)), default=0)

    def sound_same(self, first: str, second: str) -> bool:
        """Return whether the two have a pronunciation in common."""
        return not set(self.phrase(first)).isdisjoint(self.phrase(second))


def load_dictionary(path: Path, pronounce: Mapping[str, Sequence[str]]) -> Dictionary:
    """Read a recogniser's dictionary file; InputError when it is missing or is none."""
    entries: dict[str, list[Phones]] = {}
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise InputError(f"The pronouncing dictionary {path} cannot be read; install it again.") from None
    for number, line in enumerate(lines, start=1):
        word, *phones = line.split()
        if not phones:
            raise InputError(f"{path}: line {number} is not a word and its phones; install it again.")
        name = word[: word.index("(", 1)] if word.endswith(")") and "(" in word[1:] else word
        entries.setdefault(name, []).append(tuple(phones))
    for word, ways in pronounce.items():
        entries[word] = [tuple(way.split()) for way in ways]
    return Dictionary({word: tuple(found) for word, found in entries.items()})


def distance(first: Phones, second: Phones) -> float:
    """Return the weighted edit distance between two phone strings, in whole-phone units."""
    row = list(itertools.accumulate((_loss(phone) for phone in second), initial=0.0))
    for left in first:
        previous, row = row, [row[0] + _loss(left)]
        for column, right in enumerate(second, start=1):
            row.append(
                min(
                    previous[column] + _loss(left),
                    row[-1] + _loss(right),
                    previous[column - 1] + _swap(left, right),
                )
            )
    return row[-1]


def nearest(dictionary: Dictionary, first: str, second: str) -> tuple[float, float]:
    """Return distance and ratio of the two nearest pronunciations of two wordings.

    (inf, 1.0) when a word of either has no pronunciation.
    """
    best = (float("inf"), 1.0)
    for left, right in itertools.product(dictionary.phrase(first), dictionary.phrase(second)):
        apart = distance(left, right)
        best = min(best, (apart, apart / max(len(left), len(right))), key=lambda pair: pair[0])
    return best


def confusable(live: Live, dictionary: Dictionary, *, under: float = 0.34) -> list[Clash]:
    """Return the pairs of wordings of different live phrases whose ratio is below ``under``."""
    clashes = []
    for (first, first_says), (second, second_says) in itertools.combinations(live.phrases.items(), 2):
        for left, right in itertools.product(first_says, second_says):
            apart, ratio = nearest(dictionary, left, right)
            if ratio < under:
                clashes.append(Clash(first, left, second, right, apart, ratio))
    return sorted(clashes, key=lambda clash: clash.ratio)


def decoys_for(decoys: Iterable[str], words: Iterable[str], dictionary: Dictionary) -> tuple[str, ...]:
    """Return the decoys a recogniser can use beside ``words`` (those of the live set).

    Left out: words it cannot say, and words that sound the same as a live word but are spelled
    otherwise ("breaks" beside "brakes"), which would take every second right answer away.
    """
    live = frozenset(words)
    taken = {phones for word in live for phones in dictionary.phrase(word)}
    return tuple(
        decoy
        for decoy in decoys
        if decoy in live or ((ways := dictionary.phrase(decoy)) and taken.isdisjoint(ways))
    )


def _loss(phone: str) -> float:
    return _WEAK.get(phone, 1.0 if phone in _VOWELS else 0.75)


@cache
def _swap(left: str, right: str) -> float:
    if left == right:
        return 0.0
    if (near := _NEAR.get(frozenset((left, right)))) is not None:
        return near
    if left in _VOWELS and right in _VOWELS:
        (open_a, back_a, glide_a), (open_b, back_b, glide_b) = _VOWELS[left], _VOWELS[right]
        apart = 0.25 * abs(open_a - open_b) + 0.25 * abs(back_a - back_b) + 0.2 * (glide_a != glide_b)
        return min(1.0, 0.1 + apart)
    if left in _CONSONANTS and right in _CONSONANTS:
        (manner_a, place_a, voice_a), (manner_b, place_b, voice_b) = _CONSONANTS[left], _CONSONANTS[right]
        apart = 0.4 * (manner_a != manner_b) + 0.25 * (voice_a != voice_b)
        return min(1.0, apart + (0.2 + 0.05 * abs(place_a - place_b)) * (place_a != place_b))
    return 1.0
