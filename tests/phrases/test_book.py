"""The phrase book: a grammar file is whole and unambiguous, or it is refused with every fault."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from assistant.errors import FileFaults, InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.mirror import check_mirror, mirror_path

GOOD = """
lang = "en"
mate = "mate"
decoy_files = ["words.txt"]
[phrases.jaw-closed]
say = ["jaw closed"]
[phrases.jaw-open]
say = ["jaw is open", "open jaw"]
[[opposites]]
positive = "jaw-closed"
opposite = "jaw-open"
[decoys]
words = ["weather", "lunch"]
"""


def _folder(path: Path, grammar: str, words: str = "lunch\ncoffee\n") -> Path:
    (path / "en.toml").write_text(grammar, "utf-8")
    (path / "words.txt").write_text(words, "utf-8")
    return path


def _faults(path: Path, grammar: str, words: str = "lunch\n") -> list[str]:
    with pytest.raises(FileFaults) as caught:
        load_book(_folder(path, grammar, words), "en")
    return [str(fault).replace(str(path) + "/", "") for fault in caught.value.faults]


def test_a_good_book(tmp_path: Path) -> None:
    """Promise: what is in the file is what counts, and the log can name the very file."""
    book = load_book(_folder(tmp_path, GOOD), "en")
    assert book.says("jaw-open") == ("jaw is open", "open jaw")
    assert book.opposites == (("jaw-closed", "jaw-open"),)
    assert book.decoys == ("coffee", "lunch", "weather")
    assert book.sha256 == hashlib.sha256(GOOD.encode()).hexdigest()
    assert book.decoys_sha256 == hashlib.sha256(b"lunch\ncoffee\n").hexdigest()


def test_all_faults_at_once_by_place(tmp_path: Path) -> None:
    """Promise: who mends a grammar sees every fault in one go, with its place and what to do."""
    bad = """
lang = "ko"
mate = "mate"
colour = "red"
[phrases.Jaw]
say = ["Jaw closed."]
[phrases.jaw-open]
say = []
[phrases.a]
say = ["jaw open", "mate ready"]
[phrases.b]
say = ["jaw open"]
speak = 1
[phrases.c]
say = ["one hundred"]
[[opposites]]
positive = "a"
opposite = "nobody"
[pronounce]
chocks = ["ch aa"]
"""
    text = "\n".join(_faults(tmp_path, bad))
    for part in (
        "field colour: this key is not known here",
        '"Jaw" is no phrase id',
        'write "jaw closed"',
        "phrases.jaw-open.say: has too few entries",
        "phrases.b.speak: this key is not known here",
        'phrases.b.say: "jaw open" is already a wording of phrase a',
        'phrases.a.say: "mate ready" begins with the call-sign',
        'phrases.c.say: "one hundred" could be heard as a number',
        "opposites.0.opposite: phrase nobody is not in this file",
        'pronounce.chocks.0: "ch aa" is no pronunciation',
        "the file name says en, this says ko",
    ):
        assert part in text


@pytest.mark.parametrize("twin", ["jaw closed", "jaw-closed", "Jaw Closed"])
def test_a_wording_with_two_meanings_is_refused(tmp_path: Path, twin: str) -> None:
    """Hazard: one hearing that could be two answers."""
    assert any("already a wording of phrase jaw-closed" in fault for fault in _faults(
        tmp_path, GOOD + f'[phrases.other]\nsay = ["{twin}"]\n'))  # fmt: skip


def test_a_decoy_never_equals_a_whole_phrase(tmp_path: Path) -> None:
    """Hazard: "stop" listed as everyday talk would swallow the emergency stop."""
    grammar = GOOD + '[phrases.emergency-stop]\nsay = ["stop"]\n'
    assert "stop" not in load_book(_folder(tmp_path, grammar, "stop\nlunch\n"), "en").decoys


def test_faults_of_a_decoy_file(tmp_path: Path) -> None:
    """Promise: a spoiled decoy list is told by line; a missing one by name."""
    assert _faults(tmp_path, GOOD, "two words\nLunch\n") == [
        'words.txt: line 1 "two words" must be one lower case word',
        'words.txt: line 2 "Lunch" must be one lower case word',
    ]
    assert "nowhere.txt: the decoy file cannot be read" in _faults(
        tmp_path, GOOD.replace("words.txt", "nowhere.txt"))[0]  # fmt: skip


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"lang = ", "is not valid TOML"), (b"\xff\xfe", "is not UTF-8"), (None, "there is no such file")],
)
def test_a_file_that_cannot_be_read(tmp_path: Path, content: bytes | None, says: str) -> None:
    """Promise: a broken or missing file is one sentence."""
    if content is not None:
        (tmp_path / "en.toml").write_bytes(content)
    with pytest.raises(FileFaults, match=says):
        load_book(tmp_path, "en")


def test_an_unknown_language_names_the_known(tmp_path: Path) -> None:
    """Promise: asking for a language that is not there says which are."""
    with pytest.raises(InputError, match=r"Language xx is not known; there is: .*en"):
        load_book(tmp_path, "xx")


def test_live_names_every_missing_phrase(book: PhraseBook) -> None:
    """Promise: a procedure that asks for phrases nobody wrote is refused, each by name."""
    with pytest.raises(FileFaults) as caught:
        book.live(["say-again", "jaw-welded", "pin-gone"])
    assert [fault.field for fault in caught.value.faults] == ["phrases.jaw-welded", "phrases.pin-gone"]


def test_live_is_what_was_asked_for(book: PhraseBook) -> None:
    """Hazard: a phrase that is live without being due answers the wrong question."""
    live = book.live(
        ["say-again", "emergency-stop"], emergency=["emergency-stop"], reading="pressure", mate=True
    )
    assert set(live.phrases) == {"say-again", "emergency-stop"}
    assert (live.reading, live.mate, live.lang) == ("pressure", "mate", "en")
    assert live.book == {say for says in book.phrases.values() for say in says}, "else what counts elsewhere is taken"
    with pytest.raises(ValueError, match="not live"):
        book.live(["say-again"], critical=["go-ahead"])
    with pytest.raises(ValueError, match="weight"):
        book.live(["say-again"], reading="weight")


def test_the_shipped_book_agrees_with_its_mirror(book: PhraseBook) -> None:
    """Promise: every shipped phrase has lines that must match, and talk and near-misses match nothing."""
    assert [str(fault) for fault in check_mirror(book)] == []


def test_the_mirror_check_can_fail(tmp_path: Path) -> None:
    """Promise: a grammar that drifts from its mirrored lines is told, in each of the ways it can."""
    book = load_book(_folder(tmp_path, GOOD), "en")
    assert "there is no such file" in str(check_mirror(book)[0])
    mirror_path(book).write_text(
        'no-match = ["open jaw"]\n[match]\njaw-closed = ["jaw shut"]\njaw-gone = []\n', "utf-8"
    )
    text = "\n".join(str(fault) for fault in check_mirror(book))
    assert '"jaw shut" must be this phrase and is none' in text
    assert '"open jaw" must not match and is jaw-open' in text
    assert "match.jaw-open: has no line" in text
    assert "jaw-gone is no phrase of en.toml" in text


def test_the_shipped_decoys_are_many_and_sayable(book: PhraseBook) -> None:
    """Hazard: too few decoys and everyday talk is forced into a command."""
    assert len(book.decoys) >= 2500
    assert {"the", "yes", "coffee", "because", "trailer"} - set(book.decoys) <= {"trailer"}
