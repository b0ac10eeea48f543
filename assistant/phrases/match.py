"""Whole-utterance matching: all that was heard is exactly one live phrase or one number, or nothing.

Never a substring, never the nearest phrase. The one latitude is for life: the emergency wordings
said several times on end ("stop stop stop stop") are still the emergency phrase, because a person
who shouts does not count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from assistant.phrases.live import Live, Reading, Role, Unheard
from assistant.phrases.number_types import NumberRefused
from assistant.phrases.numbers import is_number_talk, parse_reading
from assistant.phrases.words import gap, normalise


@dataclass(frozen=True, slots=True)
class Match:
    """What an utterance comes to: exactly one of ``phrase``, ``reading`` and ``unheard`` is set.

    ``words`` is the normalised text; ``why`` explains the outcome in one sentence, for the log.
    """

    words: str
    why: str
    phrase: str | None = None
    reading: Reading | None = None
    unheard: Unheard | None = None
    who: Role = Role.DRIVER


def match(heard: str, live: Live) -> Match:
    """Compare a whole utterance with what counts now."""
    words = normalise(heard)
    if not words:
        return Match(words, "No word was heard.", unheard=Unheard.SILENCE)
    who, rest = _speaker(words, live)
    between = gap(live.lang)
    same = rest.replace(" ", between)
    wordings = {
        phrase: tuple(say.replace(" ", between) for say in says) for phrase, says in live.phrases.items()
    }
    for phrase, says in wordings.items():
        if same in says:
            return Match(words, f'"{words}" is the whole of phrase {phrase}.', phrase=phrase, who=who)
    for phrase in sorted(live.emergency & live.phrases.keys()):
        if _repeats(same, wordings[phrase], between):
            return Match(words, f'"{words}" is phrase {phrase} repeated.', phrase=phrase, who=who)
    if live.reading and rest and is_number_talk(rest, live.lang):
        reading = parse_reading(rest, live.reading, live.lang)
        if isinstance(reading, NumberRefused):
            return Match(words, reading.reason, unheard=Unheard.BAD_NUMBER, who=who)
        return Match(words, f'"{words}" is a {live.reading}.', reading=reading, who=who)
    return Match(words, f'"{words}" is none of what counts now.', unheard=Unheard.NOT_A_PHRASE, who=who)


def sayable(live: Live) -> dict[str, tuple[str, ...]]:
    """Return every way to say each live phrase as text: phrase id → wordings.

    With a mate in the run, the mate's forms ("mate jaw closed") follow the driver's.
    """
    return {phrase: (*says, *_mates(says, live.mate)) for phrase, says in live.phrases.items()}


def _mates(says: tuple[str, ...], mate: str) -> Iterator[str]:
    return (f"{mate} {say}" for say in says) if mate else iter(())


def _speaker(words: str, live: Live) -> tuple[Role, str]:
    """Split off the mate's call-sign."""
    if live.mate and words.startswith(live.mate + gap(live.lang)):
        return Role.MATE, words.removeprefix(live.mate).strip()
    return Role.DRIVER, words


def _repeats(words: str, says: tuple[str, ...], between: str) -> bool:
    """Return whether ``words`` are nothing but wordings of ``says`` one after the other."""
    for say in sorted(says, key=len, reverse=True):
        rest = words.removeprefix(say + between)
        if words == say or (rest != words and _repeats(rest, says, between)):
            return True
    return False
