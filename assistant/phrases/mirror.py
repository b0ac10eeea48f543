"""The mirrored test file of a grammar: lines that must and must not match.

```toml
no-match = ["the jaw is closed i think"]   # lines that must be no phrase at all

[match]                                    # phrase id → lines that must be that phrase
say-again = ["Say again.", "say  again"]
```
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pydantic import Field, ValidationError

from assistant.errors import Fault, FileFaults
from assistant.phrases import strict
from assistant.phrases.book import PhraseBook
from assistant.phrases.match import match


class _Mirror(strict.StrictModel):
    no_match: list[str] = Field(alias="no-match", min_length=1)
    match: dict[str, list[str]]


def mirror_path(book: PhraseBook) -> Path:
    """Return where the mirrored file of a book lies: ``en.test.toml`` beside ``en.toml``."""
    return book.path.with_suffix(".test.toml")


def check_mirror(book: PhraseBook) -> list[Fault]:
    """Return what is wrong between a book and its mirrored file, with every phrase live at once.

    Faults: a file that cannot be read, a line that matches another phrase or none, a line that
    matches though it must not, a phrase without a line, a line for a phrase that is not there.
    """
    path = mirror_path(book)
    try:
        mirror = _Mirror.model_validate(strict.read_toml(path)[0])
    except FileFaults as error:
        return list(error.faults)
    except ValidationError as error:
        return strict.faults_of(error, path)
    return [*_lines(book, mirror, path), *_missing(book, mirror, path)]


def _lines(book: PhraseBook, mirror: _Mirror, path: Path) -> Iterator[Fault]:
    live = book.live(book.phrases, emergency=[p for p in ["emergency-stop"] if p in book.phrases], mate=True)
    for phrase, lines in mirror.match.items():
        for line in lines:
            found = match(line, live).phrase
            if found != phrase:
                what = f'"{line}" must be this phrase and is {found or "none"}; mend the line or the grammar'
                yield Fault(str(path), what, field=f"match.{phrase}")
    for line in mirror.no_match:
        if (found := match(line, live).phrase) is not None:
            what = f'"{line}" must not match and is {found}; mend the grammar'
            yield Fault(str(path), what, field="no-match")


def _missing(book: PhraseBook, mirror: _Mirror, path: Path) -> Iterator[Fault]:
    for phrase in book.phrases:
        if not mirror.match.get(phrase):
            yield Fault(str(path), "has no line; add one that must match", field=f"match.{phrase}")
    for phrase in mirror.match:
        if phrase not in book.phrases:
            yield Fault(str(path), f"{phrase} is no phrase of {book.path.name}; take it out", field="match")
