"""Which ears are taken, and that the driver is told when they are the less safe ones."""

from __future__ import annotations

import pytest

from assistant.ears.choose import LESS_SAFE, open_pair
from assistant.ears.fusion import Pair
from assistant.ears.words_only import WordsOnly
from assistant.errors import DeviceError
from assistant.phrases.book import PhraseBook


def test_english_is_heard_by_two_ears(pair: object) -> None:
    """Promise: the default install has the pair that must agree."""
    assert isinstance(pair, Pair)
    assert pair.name == "moonshine-tiny.en+whisper-tiny.en"


@pytest.mark.parametrize("missing", ["MoonshineEar", "WhisperEar"])
def test_without_both_a_single_ear_stands_in_and_says_so(
    book: PhraseBook, missing: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: half an install hears alone and nobody knows that critical answers need the pad."""

    def gone() -> None:
        raise DeviceError("The weights of an ear are not installed; install the package.")

    monkeypatch.setattr(f"assistant.ears.choose.{missing}", gone)
    opened = open_pair(book)
    assert isinstance(opened.pair, WordsOnly)
    assert opened.pair.name == "pocketsphinx"
    assert opened.notices[-1] == LESS_SAFE
    assert any("not installed" in notice for notice in opened.notices)
    opened.pair.close()
