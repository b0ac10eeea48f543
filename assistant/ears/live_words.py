"""What of a live set a recogniser must be able to hear, and what its words then mean."""

from __future__ import annotations

from assistant.phrases.live import Live, Unheard
from assistant.phrases.match import match, sayable
from assistant.phrases.numbers import number_words

NUMBER = "<number>"
REPEATS = 3  # so many times an emergency phrase said on end is in the model; the matcher takes any number


def ways(live: Live) -> dict[str, str]:
    """Map every live way of saying something to its phrase id.

    The mate's forms are in, and emergency phrases said several times on end.
    """
    found = {way: name for name, texts in sayable(live).items() for way in texts}
    for name in live.emergency & live.phrases.keys():
        for way in live.phrases[name]:
            for times in range(2, REPEATS + 1):
                found.setdefault(" ".join([way] * times), name)
    return found


SPELLED_UNITS = {"p s i": "psi"}
"""Units said letter by letter → the one word they are for a recogniser: alone, "p" and "s" get lost."""


def reading_words(live: Live) -> tuple[str, ...]:
    """The words of the number that is due, or none; a unit that is spelled out is one word."""
    if live.reading is None:
        return ()
    words = set(number_words(live.reading, live.lang))
    for spelled, whole in SPELLED_UNITS.items():
        if set(spelled.split()) <= words:
            words = words - set(spelled.split()) | {whole}
    return tuple(sorted(words))



def phrase_for(words: str, live: Live) -> str:
    """Return the phrase id that the whole of ``words`` is, NUMBER for number words, "" for anything else."""
    found = match(words, live)
    if found.phrase is not None:
        return found.phrase
    return NUMBER if found.reading is not None or found.unheard is Unheard.BAD_NUMBER else ""
