"""Phrase craft: the lint refuses phrases that get people hurt when they are misheard."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.craft import lint_book, lint_live
from assistant.phrases.sounds import (
    PHONES,
    Dictionary,
    confusable,
    decoys_for,
    distance,
    load_dictionary,
    nearest,
)

ALWAYS = [
    "emergency-stop", "say-again", "stand-by", "go-ahead", "correction", "where-are-we",
    "what-may-i-say", "give-up", "start-over", "slower", "faster", "louder", "quieter",
    "read-back-right", "everyone-clear", "raising-suspension", "lowering-suspension", "backing-under",
    "connecting-lines", "charging-trailer", "releasing-trailer-brakes", "releasing-tractor-brake",
    "raising-legs", "lowering-legs", "pulling-away", "pulling-release", "going-under", "leaving-cab",
    "removing-chocks", "driving-off", "lifting-off-plate", "opening-pintle",
]  # fmt: skip
HEAD = 'lang = "en"\nmate = "mate"\nassent = ["yes", "confirmed"]\nvague = ["all", "good"]\n'
HEAD += 'antonyms = [["open", "closed"]]\n'
_phones = st.lists(st.sampled_from(sorted(PHONES)), max_size=8).map(tuple)


def _book(folder: Path, phrases: dict[str, list[str]], more: str = "") -> PhraseBook:
    tables = "".join(f"[phrases.{name}]\nsay = {says}\n" for name, says in phrases.items())
    (folder / "en.toml").write_text(HEAD + tables + more, "utf-8")
    return load_book(folder, "en")


def _opposites(positive: str, opposite: str) -> str:
    return f'[[opposites]]\npositive = "{positive}"\nopposite = "{opposite}"\n'


def test_the_shipped_grammar_is_clean(book: PhraseBook, dictionary: Dictionary) -> None:
    """Promise: no shipped phrase is unsayable, and none of the file is like another's opposite."""
    assert [str(fault) for fault in lint_book(book, dictionary)] == []


def test_session_words_and_announcements_are_apart(book: PhraseBook, dictionary: Dictionary) -> None:
    """Hazard: any announcement may be made at any time, so all of them count together."""
    live = book.live(ALWAYS, emergency=["emergency-stop"], critical=["read-back-right", "everyone-clear"])
    assert [str(fault) for fault in lint_live(book, [("any", live)], dictionary)] == []


@pytest.mark.parametrize(
    ("says", "what"),
    [
        ("closed", "too short for a critical answer"),
        ("jaw shut", "too short for a critical answer"),
        ("yes jaw closed", 'holds "yes", which proves nothing'),
        ("confirmed jaw closed", 'holds "confirmed", which proves nothing'),
        ("all good all", "tells nothing of what was seen"),
    ],
)
def test_a_critical_answer_says_what_was_seen(
    tmp_path: Path, dictionary: Dictionary, says: str, what: str
) -> None:
    """Hazard: a bare yes, or one syllable in the wind, confirms a jaw nobody looked at."""
    book = _book(tmp_path, {"jaw": [says]})
    faults = lint_live(book, [("see-jaw", book.live(["jaw"], critical=["jaw"]))], dictionary)
    assert len(faults) == 1
    assert what in faults[0].what
    assert (faults[0].step, faults[0].field) == ("see-jaw", "phrases.jaw.say")
    assert lint_live(book, [("see-jaw", book.live(["jaw"]))], dictionary) == []


@pytest.mark.parametrize(
    ("good", "bad", "what"),
    [
        ("jaw closed", "jaw not closed", "with a word lost becomes its opposite"),
        ("plate touching", "the plate is not touching", "with a word lost becomes its opposite"),
        ("brake holds", "brake folds", "sounds too much like its opposite"),
        ("legs up", "legs down", "sounds too much like its opposite"),
    ],
)
def test_an_opposite_is_unlike(
    tmp_path: Path, dictionary: Dictionary, good: str, bad: str, what: str
) -> None:
    """Hazard: noise takes one sound or one word away and the bad state becomes the good one."""
    book = _book(tmp_path, {"good": [good], "bad": [bad]}, _opposites("good", "bad"))
    faults = lint_book(book, dictionary)
    assert [fault.field for fault in faults] == ["phrases.bad.say"]
    assert what in faults[0].what


def test_unlike_opposites_pass(tmp_path: Path, dictionary: Dictionary) -> None:
    """Promise: the lint lets good craft through."""
    book = _book(tmp_path, {"good": ["jaw closed"], "bad": ["jaw is open"]}, _opposites("good", "bad"))
    assert lint_book(book, dictionary) == []


def test_a_word_nobody_can_hear_is_named(tmp_path: Path, dictionary_file: Path) -> None:
    """Hazard: a word missing from the recogniser drops out, and the phrase is never heard again."""
    phrases = {"chocks": ["chocks are placed"]}
    book = _book(tmp_path, phrases)
    fault = lint_book(book, load_dictionary(dictionary_file, book.pronounce))[0]
    assert 'no word "chocks" ("chocks are placed"); use another or add it under [pronounce]' in fault.what
    book = _book(tmp_path, phrases, '[pronounce]\nchocks = ["CH AA K S"]\n')
    assert lint_book(book, load_dictionary(dictionary_file, book.pronounce)) == []
    book = _book(tmp_path, phrases, '[pronounce]\nchocks = ["CH OX S"]\n')
    assert "OX is no phone" in lint_book(book, load_dictionary(dictionary_file, book.pronounce))[0].what


def test_phrases_that_sound_alike_together(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: two answers of one step that the ear mixes up; and it is told once, not at each step."""
    book = _book(tmp_path, {"one": ["kingpin clean"], "two": ["kingpin clear"], "three": ["oil on it"]})
    live = book.live(book.phrases)
    faults = lint_live(book, [("first", live), ("second", live)], dictionary)
    assert [(fault.step, fault.field) for fault in faults] == [("first", "phrases.two.say")]
    assert "sounds too much like" in faults[0].what
    assert [clash.second for clash in confusable(live, dictionary)] == ["two"]


def test_grave_phrases_must_be_further_apart(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: what is near enough for small talk is too near for the emergency stop."""
    book = _book(tmp_path, {"small": ["backing under"], "halt": ["going under"]})
    assert lint_live(book, [("s", book.live(book.phrases))], dictionary) == []
    assert lint_live(book, [("s", book.live(book.phrases, emergency=["halt"]))], dictionary)


def test_a_phrase_inside_another_is_theft(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: "jaw closed late" with its end cut off is "jaw closed"."""
    book = _book(tmp_path, {"short": ["jaw closed"], "long": ["seen the jaw closed by hand"]})
    faults = lint_live(book, [("s", book.live(book.phrases))], dictionary)
    assert [fault.field for fault in faults] == ["phrases.long.say"]
    assert 'holds "jaw closed" of phrase short' in faults[0].what


def test_same_sound_in_other_spelling(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: "brake seen" and "break scene" are one sound, wherever in the file they stand."""
    book = _book(tmp_path, {"one": ["brake seen"], "two": ["break scene"]})
    assert "sounds the same as" in lint_book(book, dictionary)[0].what


def test_antonyms_are_declared_opposites(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: opposites that nobody declared are never checked to sound unlike."""
    book = _book(tmp_path, {"valve": ["valve is open", "valve is closed"]})
    assert "mean opposite things; give each an id" in lint_book(book, dictionary)[0].what
    two = {"one": ["valve is open"], "two": ["valve is closed"]}
    book = _book(tmp_path, two)
    assert "add them to [[opposites]]" in lint_book(book, dictionary)[0].what
    book = _book(tmp_path, two, _opposites("two", "one"))
    assert lint_book(book, dictionary) == []


def test_decoys_that_sound_like_live_words(tmp_path: Path, dictionary: Dictionary) -> None:
    """Hazard: the decoy "breaks" takes half of all "brakes"; a phrase that sounds as talk is told."""
    words = '[decoys]\nwords = ["breaks", "lunch", "brakes", "weight", "qqqq"]\n'
    book = _book(tmp_path, {"brakes": ["brakes set"], "hold": ["wait"]}, words)
    assert decoys_for(book.decoys, ["brakes", "set"], dictionary) == ("brakes", "lunch", "weight")
    faults = lint_live(book, [("s", book.live(book.phrases))], dictionary)
    assert ['"wait" sounds the same as the everyday word "weight"' in fault.what for fault in faults] == [
        True
    ]
    assert any('no word "qqqq"' in fault.what for fault in lint_book(book, dictionary))


@given(first=_phones, second=_phones, third=_phones)
def test_distance_is_one(first: tuple[str, ...], second: tuple[str, ...], third: tuple[str, ...]) -> None:
    """Promise: likeness is the same both ways, none of itself, and more sounds never come nearer free."""
    assert distance(first, first) == 0
    assert distance(first, second) == pytest.approx(distance(second, first))
    assert (distance(first, second) > 0) == (first != second)
    assert distance(first + third, second + third) <= distance(first, second) + 1e-9


def test_no_two_sounds_are_one() -> None:
    """Hazard: two phrases that differ in one sound ("ray", "yay") count as one, or as two that cannot clash."""
    assert [pair for pair in itertools.combinations(sorted(PHONES), 2) if distance(*zip(pair, strict=True)) == 0] == []


def test_like_sounds_are_nearer(dictionary: Dictionary) -> None:
    """Promise: what people and recognisers mix up is nearer than what they do not."""
    near = [nearest(dictionary, *pair)[0] for pair in (("pin", "bin"), ("fifteen", "fifty"), ("pin", "pen"))]
    far = [nearest(dictionary, *pair)[0] for pair in (("pin", "jaw"), ("stop", "go ahead"), ("legs", "hose"))]
    assert max(near) < min(far)
    assert nearest(dictionary, "pin", "qqqq") == (float("inf"), 1.0)


def test_a_dictionary_that_is_none(tmp_path: Path) -> None:
    """Promise: a missing or spoiled dictionary is one sentence."""
    with pytest.raises(InputError, match="cannot be read"):
        load_dictionary(tmp_path / "none.dict", {})
    (tmp_path / "bad.dict").write_text("word\n", "utf-8")
    with pytest.raises(InputError, match="line 1 is not a word and its phones"):
        load_dictionary(tmp_path / "bad.dict", {})


def test_no_answer_holds_the_emergency_word(tmp_path: Path, dictionary: Dictionary) -> None:
    """An answer such as "stopped short" would halt the run: one ear alone may hear the stop in it."""
    book = _book(tmp_path, {"halt": ["stop"], "short": ["stopped just short"], "edge": ["at the front edge"]})
    faults = lint_live(book, [("s", book.live(book.phrases, emergency=["halt"]))], dictionary)
    assert [fault.field for fault in faults if "emergency word" in fault.what] == ["phrases.short.say"]
