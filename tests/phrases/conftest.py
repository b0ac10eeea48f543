"""The shipped grammar and the recogniser's own dictionary, read once."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

import pytest

from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.sounds import Dictionary, load_dictionary

GRAMMARS = Path(__file__).parents[2] / "grammars"


@pytest.fixture(scope="session")
def book() -> PhraseBook:
    """Return the shipped English book."""
    return load_book(GRAMMARS, "en")


@pytest.fixture(scope="session")
def dictionary_file() -> Path:
    """Return where the recogniser keeps its dictionary, without importing it."""
    spec = find_spec("pocketsphinx")
    assert spec is not None
    assert spec.submodule_search_locations
    return Path(spec.submodule_search_locations[0]) / "model" / "en-us" / "cmudict-en-us.dict"


@pytest.fixture(scope="session")
def dictionary(book: PhraseBook, dictionary_file: Path) -> Dictionary:
    """Return the dictionary with the book's own pronunciations."""
    return load_dictionary(dictionary_file, book.pronounce)
