"""The classroom yard's own phrases and texts, from ``words/<lang>.toml``. They are no answers of any run."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from assistant.errors import InputError
from assistant.practice.truth import Harm

_FOLDER: Final = Path(__file__).with_name("words")
ASK, DO, LOOK = "practice-ask-", "practice-do-", "practice-look-"
"""What the ids of the yard's phrases begin with, so that none can be taken for an answer."""


@dataclass(frozen=True, slots=True)
class YardWords:
    """One language: ``phrases`` maps each id to its wordings, ``seen`` thing and key to a sentence."""

    lang: str
    phrases: Mapping[str, tuple[str, ...]]
    seen: Mapping[tuple[str, str], str]
    told: Mapping[str, str]
    harm: Mapping[str, str]

    def sight(self, thing: str, key: str) -> str:
        """Return what is told of a look."""
        return self.seen[thing, key]

    def damage(self, harm: Harm) -> str:
        """Return what is told of something broken, and why it broke."""
        return self.harm[harm.kind]


@lru_cache(maxsize=4)
def yard_words(lang: str) -> YardWords:
    """Return the words of a language; InputError where the yard has none."""
    path = _FOLDER / f"{lang}.toml"
    if not path.is_file():
        known = ", ".join(sorted(one.stem for one in _FOLDER.glob("*.toml")))
        raise InputError(f"The classroom yard has no words in {lang!r}; there is: {known}.")
    data = tomllib.loads(path.read_text("utf-8"))
    phrases = {ASK + name: tuple(says) for name, says in data["ask"].items()}
    phrases |= {DO + name: tuple(says) for name, says in data["do"].items()}
    phrases |= {LOOK + thing: tuple(look["say"]) for thing, look in data["look"].items()}
    seen = {(thing, key): text for thing, look in data["look"].items() for key, text in look["seen"].items()}
    return YardWords(lang, phrases, seen, data["told"], data["harm"])
