"""What makes a phrase safe to hear: the faults that `hitchcall lint` reports in a grammar.

``lint_book`` looks at the file by itself, ``lint_live`` at what counts together at each step. The
limits on likeness are our own. They were held against measured mistakes: of 50 pairs, spoken by eight
synthetic voices at 20, 12 and 6 dB over pink noise and offered to pocketsphinx as its only choice, it
took one for the other in 28 % of trials under a distance of 1.0, 17 % from there to 1.8, 14 % beyond
and 7 % above 5 (rank correlation -0.46). So likeness is a reason to refuse a pair, but unlikeness is
no proof: noise alone turns far pairs too ("stop", "go ahead"), which is what decoys and a second ear
are for.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from assistant.errors import Fault
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Live
from assistant.phrases.sounds import PHONES, Dictionary, Phones, nearest

MIN_WORDS = 2
MIN_SYLLABLES = 3


@dataclass(frozen=True, slots=True)
class Limit:
    """Two wordings are too much alike below either figure (see ``sounds.nearest``)."""

    distance: float
    ratio: float

    def broken(self, near: tuple[float, float]) -> bool:
        """Return whether a pair at this distance and ratio is too much alike."""
        return near[0] < self.distance or near[1] < self.ratio


TOGETHER = Limit(1.8, 0.20)
"""For any two phrases that count together: more than one short sound apart."""

GRAVE = Limit(2.5, 0.30)
"""For opposites, critical answers and the emergency stop, where a mistake can kill."""


@dataclass
class _Nearness:
    """Remembers distances: session phrases meet each other again at every step."""

    dictionary: Dictionary
    known: dict[tuple[str, str], tuple[float, float]] = field(default_factory=dict)

    def of(self, first: str, second: str) -> tuple[float, float]:
        key = (first, second) if first < second else (second, first)
        if key not in self.known:
            self.known[key] = nearest(self.dictionary, *key)
        return self.known[key]


def lint_book(book: PhraseBook, dictionary: Dictionary) -> list[Fault]:
    """Return the faults of a grammar file by itself: unsayable words, same sounds, bad opposites."""
    near = _Nearness(dictionary)
    faults = [
        *_unsayable(book, dictionary),
        *_same_sounds(book, dictionary),
        *_bad_opposites(book, near),
        *_antonyms(book),
    ]
    return list(dict.fromkeys(faults))


def lint_live(book: PhraseBook, live_sets: Sequence[tuple[str, Live]], dictionary: Dictionary) -> list[Fault]:
    """Return the faults of what counts together, for each (step id, live set); each fault once.

    A fault that several steps share is told for the first of them.
    """
    near = _Nearness(dictionary)
    sounds = {phones: decoy for decoy in book.decoys for phones in dictionary.phrase(decoy)}
    seen: set[tuple[str, str]] = set()
    faults = []
    for step, live in live_sets:
        for fault in (
            *_weak_answers(book, live, dictionary),
            *_alike(book, live, near),
            *_inside(book, live),
            *_like_emergency(book, live),
            *_decoy_twins(book, live, dictionary, sounds),
        ):
            if (fault.field, fault.what) not in seen:
                seen.add((fault.field, fault.what))
                faults.append(Fault(fault.file, fault.what, step, fault.field))
    return faults


def _fault(book: PhraseBook, phrase: str, what: str) -> Fault:
    return Fault(str(book.path), what, field=f"phrases.{phrase}.say")


def _wordings(book: PhraseBook | Live) -> list[tuple[str, str]]:
    return [(phrase, say) for phrase, says in book.phrases.items() for say in says]


def _pairs(book: PhraseBook | Live) -> Iterator[tuple[str, str, str, str]]:
    """Yield (id, wording, other id, other wording) for wordings of different phrases."""
    for (first, left), (second, right) in itertools.combinations(_wordings(book), 2):
        if first != second:
            yield first, left, second, right


def _unsayable(book: PhraseBook, dictionary: Dictionary) -> Iterator[Fault]:
    for phrase, say in _wordings(book):
        for word in dictionary.missing(say.split()):
            what = f'the recogniser has no word "{word}" ("{say}"); use another or add it under [pronounce]'
            yield _fault(book, phrase, what)
    if dictionary.missing([book.mate]):
        what = f'the recogniser has no word "{book.mate}"; use another or add it under [pronounce]'
        yield Fault(str(book.path), what, field="mate")
    for decoy in dictionary.missing(book.decoys):
        what = f'the recogniser has no word "{decoy}", so it refuses nothing; take it out'
        yield Fault(str(book.path), what, field="decoys")
    for word, ways in book.pronounce.items():
        for phone in sorted({phone for way in ways for phone in way.split()} - PHONES):
            what = f"{phone} is no phone; use those of the recogniser's dictionary"
            yield Fault(str(book.path), what, field=f"pronounce.{word}")


def _same_sounds(book: PhraseBook, dictionary: Dictionary) -> Iterator[Fault]:
    """Find wordings that no ear can tell apart, even where they never count together today."""
    heard: dict[tuple[str, ...], tuple[str, str]] = {}
    for phrase, say in _wordings(book):
        for phones in dictionary.phrase(say):
            other, other_say = heard.setdefault(phones, (phrase, say))
            if other != phrase:
                what = f'"{say}" sounds the same as "{other_say}" of phrase {other}; change one of them'
                yield _fault(book, phrase, what)


def _like_emergency(book: PhraseBook, live: Live) -> Iterator[Fault]:
    """Find wordings with a word that begins like an emergency word: any ear may then hear the stop.

    Measured: "stopped just short" was taken for "stop" by an ear on its own, as the rule for
    emergencies allows, and so halted the run.
    """
    alarms = {say for phrase in live.emergency for say in live.phrases[phrase] if " " not in say}
    for phrase, say in _wordings(live):
        if phrase in live.emergency:
            continue
        for word in say.split():
            if any(word.startswith(alarm) for alarm in alarms):
                what = f'"{say}" holds "{word}", which may be heard as the emergency word; use another'
                yield _fault(book, phrase, what)


def _bad_opposites(book: PhraseBook, near: _Nearness) -> Iterator[Fault]:
    for positive, opposite in book.opposites:
        for good, bad in itertools.product(book.phrases[positive], book.phrases[opposite]):
            if _kept_in_order(good.split(), bad.split()):
                what = f'"{bad}" with a word lost becomes its opposite "{good}"; use other words for it'
                yield _fault(book, opposite, what)
            elif GRAVE.broken(near.of(good, bad)):
                what = f'"{bad}" sounds too much like its opposite "{good}"; make one of them unlike'
                yield _fault(book, opposite, what)


def _antonyms(book: PhraseBook) -> Iterator[Fault]:
    """Find wordings that differ by a word and its antonym without being declared opposites."""
    owner = {say: phrase for phrase, say in _wordings(book)}
    declared = {frozenset(pair) for pair in book.opposites}
    for say, phrase in owner.items():
        for one, other in itertools.chain.from_iterable((pair, pair[::-1]) for pair in book.antonyms):
            if one not in say.split():
                continue
            twin = " ".join(other if word == one else word for word in say.split())
            if owner.get(twin) == phrase:
                yield _fault(book, phrase, f'"{say}" and "{twin}" mean opposite things; give each an id')
            elif twin in owner and frozenset((phrase, owner[twin])) not in declared:
                what = (
                    f'"{say}" and "{twin}" of phrase {owner[twin]} are opposites; add them to [[opposites]]'
                )
                yield _fault(book, phrase, what)


def _weak_answers(book: PhraseBook, live: Live, dictionary: Dictionary) -> Iterator[Fault]:
    for phrase in sorted(live.critical):
        for say in live.phrases[phrase]:
            words = say.split()
            if len(words) < MIN_WORDS or 0 < dictionary.syllables(say) < MIN_SYLLABLES:
                what = (
                    f'"{say}" is too short for a critical answer; use {MIN_WORDS} words and '
                    f"{MIN_SYLLABLES} syllables or more"
                )
                yield _fault(book, phrase, what)
            if empty := sorted(book.assent.intersection(words)):
                what = f'"{say}" holds "{empty[0]}", which proves nothing; say what was seen'
                yield _fault(book, phrase, what)
            elif book.vague.issuperset(words):
                yield _fault(book, phrase, f'"{say}" tells nothing of what was seen; name the thing seen')


def _alike(book: PhraseBook, live: Live, near: _Nearness) -> Iterator[Fault]:
    grave = live.critical | live.emergency
    for first, left, second, right in _pairs(live):
        limit = GRAVE if first in grave or second in grave else TOGETHER
        if limit.broken(near.of(left, right)):
            what = f'"{right}" sounds too much like "{left}" of phrase {first}, which counts at the same time'
            yield _fault(book, second, what + "; change one of them")


def _inside(book: PhraseBook, live: Live) -> Iterator[Fault]:
    """Find a phrase that a longer one turns into when its start or end is cut off."""
    for first, left, second, right in _pairs(live):
        for short, long, owner, other in ((left, right, second, first), (right, left, first, second)):
            if f" {short} " in f" {long} ":
                what = f'"{long}" holds "{short}" of phrase {other}; cut short it would be taken for that'
                yield _fault(book, owner, what + "; use other words")


def _decoy_twins(
    book: PhraseBook, live: Live, dictionary: Dictionary, sounds: Mapping[Phones, str]
) -> Iterator[Fault]:
    for phrase, say in _wordings(live):
        for phones in dictionary.phrase(say):
            if (decoy := sounds.get(phones, say)) != say:
                what = f'"{say}" sounds the same as the everyday word "{decoy}"; use other words'
                yield _fault(book, phrase, what)


def _kept_in_order(short: Iterable[str], long: Iterable[str]) -> bool:
    """Return whether all words of ``short`` stand in ``long`` in the same order."""
    rest = iter(long)
    return all(word in rest for word in short)
