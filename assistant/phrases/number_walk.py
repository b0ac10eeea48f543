"""The number grammar word by word: what may come after the words said so far.

For an ear that builds a number as it listens instead of searching a finished grammar. A place in the
grammar is the set of all ways in which the words so far can go on; the grammar's rules call no rule
that leads back to themselves, so there are finitely many.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from assistant.phrases.number_grammar_en import Rules, rules
from assistant.phrases.number_types import Kind

Rest = tuple[str, ...]
Place = frozenset[Rest]
"""Every possible rest of an utterance, as words and <rules>; () among them: it may end here."""

WRITTEN = {"p s i": "psi", "k p a": "kpa"}
"""Units that are said letter by letter and written as one word."""


class NumberWalk:
    """The readings of one kind, English; ``before`` are words that may come first, such as a call-sign."""

    def __init__(self, kind: str, before: str = "") -> None:
        made = rules(Kind(kind))
        made["unit"] = [(weight, WRITTEN.get(said, said)) for weight, said in made["unit"]]
        self._rules: Rules = made
        start: set[Rest] = {("<reading>",)}
        if before:
            start.add((before, "<reading>"))
        self.start: Place = frozenset(start)
        self.after = lru_cache(maxsize=None)(self._after)

    def _after(self, place: Place) -> Mapping[str, Place]:
        """Return each word that may come next with the place it leads to."""
        found: dict[str, set[Rest]] = {}
        todo, seen = list(place), set(place)
        while todo:
            rest = todo.pop()
            if not rest:
                continue
            head, tail = rest[0], rest[1:]
            if not head.startswith("<"):
                found.setdefault(head, set()).add(tail)
                continue
            for _, text in self._rules[head[1:-1]]:
                further = (*text.split(), *tail)
                if further not in seen:
                    seen.add(further)
                    todo.append(further)
        return {word: frozenset(rests) for word, rests in found.items()}

    @staticmethod
    def may_end(place: Place) -> bool:
        """Whether the words so far are a whole reading."""
        return () in place
