"""What was heard, brought to one spelling before it is compared.

Only marks known to carry no meaning are dropped. Any other character stays in its word, so that a
word with something odd in it ("1½", "5%") is refused as unknown and never silently shortened.
"""

from __future__ import annotations

import re
import unicodedata

_DASHES = "-\u2010\u2011\u2012\u2013\u2014\u2212"
_MINUS = re.compile(rf"(?:(?<=\s)|^)[{_DASHES}](?=[.\d])")
_JOINS = re.compile(rf"[{_DASHES}_]")
# A point or a comma between digits is part of the numeral; so is a point before a digit (".5").
_MARKS = re.compile(r"(?<!\d)[,](?=\d)|[,.](?!\d)|[;:!?\"()\[\]\u2026\u201c\u201d]")
_LOOSE_QUOTE = re.compile(r"(?<!\w)'|'(?!\w)")


_SPACE_FREE = frozenset({"ko"})


def gap(lang: str) -> str:
    """Return what stands between words when they are compared: a space, or nothing.

    Korean leaves spaces to taste ("주차 브레이크", "주차브레이크") and recognisers put them between
    parts of words, so there they carry no meaning.
    """
    return "" if lang in _SPACE_FREE else " "


def normalise(text: str) -> str:
    """Return ``text`` in lower case with single spaces and without punctuation.

    Hyphens become spaces, except that a dash right before a numeral becomes "minus". Apostrophes
    inside a word stay ("that's").
    """
    text = unicodedata.normalize("NFC", text).lower().replace("\u2019", "'")
    text = _MINUS.sub("minus ", text)
    for pattern in (_JOINS, _MARKS, _LOOSE_QUOTE):
        text = pattern.sub(" ", text)
    return " ".join(text.split())
