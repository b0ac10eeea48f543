"""The parts of the closed-set ears that need no sound: texts, pieces, the number grammar as a walk, weights."""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.ears.closed_set import (
    Scored,
    Weighed,
    best_by_phrase,
    reading_of,
    reading_texts,
    sentences,
)
from assistant.ears.moonshine import WEIGHTS as RANKING
from assistant.ears.moonshine import MoonshineEar
from assistant.ears.pieces import Pieces
from assistant.ears.whisper import WEIGHTS as WEIGHING
from assistant.ears.whisper import WhisperEar
from assistant.errors import DeviceError
from assistant.phrases.live import Live
from assistant.phrases.number_types import UNITS, Kind
from assistant.phrases.number_walk import WRITTEN, NumberWalk
from assistant.phrases.numbers import sample, say_reading

KINDS = ("pressure", "length", "time", "angle")
WALKS = {kind: NumberWalk(kind) for kind in KINDS}
LIVES = {kind: Live("en", {}, reading=kind) for kind in KINDS}


def as_written(words: str) -> list[str]:
    """The words of the walk: units that are said letter by letter are one."""
    for letters, unit in WRITTEN.items():
        words = f" {words} ".replace(f" {letters} ", f" {unit} ").strip()
    return words.split()


@given(st.sampled_from(KINDS), st.integers(0, 2**32))
def test_every_spoken_reading_is_a_walk_of_the_grammar(kind: str, seed: int) -> None:
    """Hazard: a gauge reading that can never be heard. What drivers say is a path, and may end where it ends."""
    walk = WALKS[kind]
    place = walk.start
    for word in as_written(sample(kind, random.Random(seed))):
        place = walk.after(place)[word]
    assert walk.may_end(place)


@given(
    st.sampled_from([(kind, unit) for kind in Kind for unit in UNITS[kind]]),
    st.decimals(0, 9999, places=5) | st.decimals(0, 99, places=1) | st.integers(0, 9999).map(Decimal),
)
def test_what_is_read_back_can_be_heard(kind: tuple[Kind, str], value: Decimal) -> None:
    """Hazard: a sixteenth of an inch, "zero point zero six two five", is only ever heard as another number."""
    walk, place = WALKS[kind[0]], WALKS[kind[0]].start
    for word in as_written(say_reading(value.normalize(), kind[1])):
        place = walk.after(place)[word]
    assert walk.may_end(place)


@given(st.sampled_from(KINDS), st.data())
def test_every_walk_is_a_reading_or_is_refused_as_one(kind: str, data: st.DataObject) -> None:
    """Hazard: the search ends in words that the parser takes for another number: all candidates are parsed again."""
    walk = WALKS[kind]
    place, words = walk.start, []
    for _ in range(12):
        further = walk.after(place)
        if not further or (walk.may_end(place) and data.draw(st.booleans())):
            break
        words.append(data.draw(st.sampled_from(sorted(further))))
        place = further[words[-1]]
    reading = reading_of(" ".join(words), LIVES[kind])
    for name, text in reading_texts(" ".join(words), " ".join(words), LIVES[kind]):
        again = reading_of(text, LIVES[kind])
        assert reading is not None
        assert again is not None
        assert (again.value, again.unit) == (reading.value, reading.unit), (words, text)
        assert name.split()[1] == f"{reading.value.normalize():f}"


def test_the_mates_reading_keeps_the_call_sign() -> None:
    """Hazard: the log names the wrong person for a reading."""
    walk = NumberWalk("pressure", "mate")
    assert "mate" in walk.after(walk.start)
    live = Live("en", {}, reading="pressure", mate="mate")
    texts = reading_texts("mate one one zero psi", "mate one one zero PSI", live)
    assert [text for _, text in texts] == ["Mate one one zero PSI.", "Mate 110 psi."]
    assert len({name for name, _ in texts}) == 1


def test_a_common_text_must_gain_by_the_sound() -> None:
    """Hazard: in noise "stop" wins over every longer phrase, because it is likely whatever was said."""
    short = Scored("stop", "Stop.", heard=-16.0, unheard=-11.0)
    long = Scored("brake-set", "Parking brake is set.", heard=-18.0, unheard=-35.0)
    assert short.heard > long.heard
    assert best_by_phrase([short, long])[0].phrase == "brake-set"


def test_a_stop_nobody_said_does_not_lead_the_weighing_ear_in_noise() -> None:
    """Hazard: a driver in the rain says three times what is so and is not heard, because noise fits "stop" a little.

    Figures as measured, of a synthetic voice at 5 dB.
    """
    weighed = [
        Weighed("emergency-stop", "Stop.", heard=-17.5, unheard=-12.9, last=-1.0),
        Weighed("parking-brake-set", "Parking brake is set.", heard=-32.2, unheard=-36.3, last=-1.0),
        Weighed("pulling-away", "Pulling away.", heard=-28.2, unheard=-24.5, last=-1.0),
    ]
    assert best_by_phrase(weighed)[0].phrase == "parking-brake-set"


def test_a_longer_number_does_not_lead_for_being_rare() -> None:
    """Hazard: a gauge at 500 is read back as 5000. Figures as measured, of a person at 10 dB."""
    weighed = [
        Weighed("<number> 5000", "Five zero zero zero.", heard=-7.9, unheard=-26.2, last=-1.0),
        Weighed("<number> 500", "Five zero zero.", heard=-6.7, unheard=-24.0, last=-1.0),
    ]
    assert best_by_phrase(weighed)[0].phrase == "<number> 500"


def test_each_phrase_stands_once_by_its_best_wording() -> None:
    """Hazard: two wordings of one phrase are rivals, and the driver is refused for having a choice."""
    live = Live("en", {"jaw-closed": ("jaw closed", "jaw is closed")})
    assert [text for _, text in sentences(live)] == ["Jaw closed.", "Jaw is closed."]
    (best,) = best_by_phrase(Scored(phrase, text, -float(at), -9.0) for at, (phrase, text) in enumerate(sentences(live)))
    assert best.text == "Jaw closed."


@pytest.fixture(scope="session")
def pieces() -> Pieces:
    """The ranking ear's own table."""
    return Pieces((RANKING.find() / "tokenizer.bin").read_bytes())


@given(st.text("abcdefghijklmnopqrstuvwxyzJSéü주 ", min_size=1).map(lambda text: " ".join(text.split())).filter(bool))
def test_pieces_give_the_text_back(pieces: Pieces, text: str) -> None:
    """Promise: a phrase is scored as it is written, whatever its words."""
    assert pieces.text(list(pieces.of(text))) == text


def test_a_word_keeps_its_pieces_in_a_sentence(pieces: Pieces) -> None:
    """Hazard: the number search goes word by word and must score what the whole text is scored as."""
    text = "One hundred twenty two and a half psi"
    joined = [piece for word in text.split() for piece in pieces.of(word)]
    assert pieces.of(f"{text}.") == (*joined, pieces.mark("."))


@pytest.mark.parametrize(("weights", "ear"), [(RANKING, MoonshineEar), (WEIGHING, WhisperEar)])
def test_altered_weights_are_refused(weights: object, ear: type, tmp_path: Path) -> None:
    """Hazard: an ear that was never measured. One changed byte, or a missing file, is told and not used."""
    folder = weights.find()  # type: ignore[attr-defined]
    names = sorted(weights.hashes, key=lambda name: (folder / name).stat().st_size)  # type: ignore[attr-defined]
    for name in names[1:]:
        (tmp_path / name).symlink_to(folder / name)
    with pytest.raises(DeviceError, match="cannot be read"):
        ear(tmp_path)
    data = bytearray((folder / names[0]).read_bytes())
    data[100] ^= 1
    (tmp_path / names[0]).write_bytes(data)
    with pytest.raises(DeviceError, match="not the file that was measured"):
        ear(tmp_path)
