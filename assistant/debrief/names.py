"""The words for what the figures count: steps, rules, phrases, limits, by id. Read from the procedure files."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Final

from assistant.debrief.telling import plain
from assistant.errors import HitchcallError
from assistant.phrases.book import PhraseBook, load_book
from assistant.prepare import DEFAULT_RIG, DEFAULT_SITE, grammars, library
from assistant.procedure.load import Files, load_files, load_site
from assistant.procedure.model import Limit

_REASONS: Final[Mapping[str, str]] = {
    "not-this-step": "An act that belongs to another step.",
    "not-now": "An act during a stop, a stand-by, or while deaf.",
    "not-live": "An answer that was not asked for.",
    "wrong-voice": "An answer by the one who does not look.",
    "nothing-to-take-back": "A correction with nothing to take back.",
}


class Names:
    """Words in English for ids from any log; an id that has none here is written out."""

    def __init__(self, own: Path | None = None) -> None:
        self._own = own
        self._files: dict[str, Files | None] = {}

    def step(self, procedure: str, step: str) -> str:
        """A step's, or a look's, sentence."""
        files = self._of(procedure)
        if files is None:
            return ""
        words = files.words.step.get(step) or files.yard_words.look.get(step)
        return words.brief if words else ""

    def place(self, procedure: str, step: str) -> int:
        """Where a step stands in its procedure; looks come after all steps."""
        files = self._of(procedure)
        order = [one.id for one in files.procedure.step] if files else []
        return order.index(step) if step in order else len(order)

    def refused(self, rule: str) -> tuple[str, str]:
        """A refusal's reason in words, and its source ("" where it rests on no never rule)."""
        if rule in _REASONS:
            return _REASONS[rule], ""
        files = self._of("couple")
        known = files.yard_words.never.get(rule) if files else None
        source = next((one.source for one in files.yard.never if one.id == rule), "") if files else ""
        return (known.say if known else plain(rule)), source

    def phrase(self, phrase: str) -> str:
        """What is said for a phrase."""
        kind, _, limit = phrase.partition(":")
        if limit:
            return f"{kind}: {plain(limit)}"
        ways = self._book.phrases.get(phrase) if self._book else None
        return ways[0] if ways else plain(phrase)

    def bounds(self, site: str, limit: str) -> tuple[tuple[Decimal, ...], str]:
        """The bounds of a site's limit, low and high as far as there are, and their unit; empty when not known."""
        try:
            found: Limit | None = load_site(library(self._own), site or DEFAULT_SITE).limits.get(limit)
        except HitchcallError:
            found = None
        if found is None:
            return (), ""
        bounds = (found.at_least, found.more_than, found.at_most, found.less_than)
        return tuple(one for one in bounds if one is not None), found.unit

    def _of(self, procedure: str) -> Files | None:
        if procedure not in self._files:
            try:
                self._files[procedure] = load_files(library(self._own), procedure, DEFAULT_RIG, DEFAULT_SITE, "en")
            except HitchcallError:
                self._files[procedure] = None
        return self._files[procedure]

    @cached_property
    def _book(self) -> PhraseBook | None:
        try:
            return load_book(grammars(self._own), "en")
        except HitchcallError:
            return None
