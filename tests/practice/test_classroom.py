"""``hitchcall practise`` as a trainer and a trainee meet it: real command, typed lines, real logs."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import pytest
from command_line import Hitchcall, sentence
from trainee import careful_lines

from assistant.errors import InputError
from assistant.journal.reader import LogReader
from assistant.journal.records import Closed, Note, Opened
from assistant.practice.drawing import drawing
from assistant.practice.faults import seeded
from assistant.practice.starts import fit_of, start
from assistant.practice.truth import Fit, Jaw
from assistant.practice.words import yard_words
from assistant.prepare import Prepared, grammars, library, prepare

NOISELESS = ("--ears", "typed", "--voice", "none")


def _ready(procedure: str, **setting: str) -> Prepared:
    return prepare(library(), grammars(), procedure, **setting)


def _lines(ready: Prepared, *faults: str) -> str:
    truth = seeded(start(ready.plan.procedure, fit_of(ready.files, ready.plan.crew)), faults)
    return "\n".join(careful_lines(ready, truth)) + "\n"


def _run(home: Path) -> Path:
    (found,) = (home / "state/hitchcall/logs").iterdir()
    return found


def _notes(run: Path) -> list[str]:
    return [entry.record.text for entry in LogReader(run) if isinstance(entry.record, Note)]


def _score(run: Path) -> dict[str, object]:
    (told,) = [text for text in _notes(run) if text.startswith("practice score: ")]
    found: dict[str, object] = json.loads(told.removeprefix("practice score: "))
    return found


def test_a_careful_trainee_finds_the_jaw_on_the_pins_head(hitchcall: Hitchcall, home: Path, tmp_path: Path) -> None:
    """The fault that a tug and a click do not show is found by looking, and the score and the log say so."""
    typed = _lines(_ready("couple"), "jaw-on-head")
    picture = tmp_path / "rig.svg"
    ended = hitchcall("practise", "couple", *NOISELESS, "--fault", "jaw-on-head", "--drawing", str(picture),
                      "--call-sign", "quarry one", typed=typed)  # fmt: skip
    assert ended.status == 0, ended.out[-1500:] + ended.err
    assert "A strip of daylight runs right across." in ended.out
    assert "Fault found: the jaws close round the pin's head instead of its shank." in ended.out
    run = _run(home)
    score = _score(run)
    assert score["faults_missed"] == []
    assert score["broken"] == []
    assert score["all"]["wrong"] == 0, score  # type: ignore[index]
    assert score["critical"]["not looked"] == 0, score  # type: ignore[index]
    opened = next(entry.record for entry in LogReader(run) if isinstance(entry.record, Opened))
    assert {"practice", "fault: jaw-on-head", "crew: alone"} <= set(opened.notes)
    assert opened.call_sign == "quarry one"
    assert hitchcall("log", "verify", str(run)).status == 0
    assert hitchcall("log", "replay", str(run)).status == 0
    assert ET.fromstring(picture.read_text("utf-8")).tag.endswith("svg")  # noqa: S314 - made here


def test_timed_readings_are_taken_in_the_yard(hitchcall: Hitchcall, home: Path) -> None:
    """The road-ready check with its gauge and holds can be practised, and a leak is found by its reading or its hiss."""
    ready = _ready("road-ready", rig="fixed-spring")
    ended = hitchcall("practise", "road-ready", "--rig", "fixed-spring", *NOISELESS, "--fault", "line-leaks",
                      typed=_lines(ready, "line-leaks"))  # fmt: skip
    assert ended.status == 0, ended.out[-1500:] + ended.err
    score = _score(_run(home))
    assert score["faults_found"] == ["line-leaks"]
    assert score["all"]["wrong"] == 0, score  # type: ignore[index]
    assert any(text.startswith("practice reading: static, ") for text in _notes(_run(home)))


def test_a_hasty_trainee_is_shown_what_was_believed_and_what_was_so(hitchcall: Hitchcall, home: Path) -> None:
    """Answering without doing is a wrong belief, without looking a lucky one; a refused act does not happen."""
    lines = ["tractor stands clear", "backing under", "parking brake is set", "that is what i said", "do it", "gearbox in neutral"]
    ended = hitchcall("practise", "couple", *NOISELESS, "--fault", "park-brake-weak", typed="\n".join(lines))
    assert ended.status == 0, ended.err
    score = _score(_run(home))
    assert score["answers"] == [
        ["where-stands", "tractor-clear", "not looked", False],
        ["tractor-brake", "parking-brake-set", "wrong", True],
        ["neutral", "in-neutral", "right", False],
    ]
    assert score["faults_missed"] == ["park-brake-weak"]
    assert score["refusals"] == ["under-trailer-brake-off"]
    for name in ("where-stands", "tractor-clear", "parking-brake-set", "under-trailer-brake-off", "park-brake-weak"):
        assert name not in ended.out, "the trainee is told ids instead of words"
    told = ended.out[ended.out.index("Critical answers:") :]
    assert "not looked: Where does the tractor stand?" in told or 'Said: "tractor stands clear".' in told, told
    assert "wrong: " in told
    assert "Refused by the assistant:\n  Danger. " in told, told
    assert score["broken"] == []
    closed = [entry.record for entry in LogReader(_run(home)) if isinstance(entry.record, Closed)]
    assert [record.outcome for record in closed] == ["broken off"]
    assert hitchcall("log", "verify", str(_run(home))).status == 0


def test_with_the_assistant_off_a_wrong_order_breaks_and_is_told(hitchcall: Hitchcall, home: Path) -> None:
    """A trainer can show why: legs left up, and the trailer falls; the log says practice and unguided."""
    lines = ["pulling the trailer brake on", "chocking the wheels", "taking the lines off", "pulling the cord out",
             "taking the second lock off", "easing back against the pin", "pulling the release handle", "look at the legs",
             "what a nice day", "pulling away", "look at the legs", "that is all for today"]  # fmt: skip
    ended = hitchcall("practise", "uncouple", *NOISELESS, "--unguided", typed="\n".join(lines))
    assert ended.status == 0, ended.err
    assert "IN THE YARD: Nothing stood under the trailer's nose: it fell." in ended.out
    assert "Nobody in the yard understands: what a nice day." in ended.out
    assert "The legs are drawn in under the trailer." in ended.out
    assert "Both feet stand on the ground." in ended.out
    assert "says" not in ended.out.replace("says the", "")
    run = _run(home)
    opened = next(entry.record for entry in LogReader(run) if isinstance(entry.record, Opened))
    assert {"practice", "unguided"} <= set(opened.notes)
    assert "practice broken: dropped by pull-forward" in _notes(run)
    assert hitchcall("log", "verify", str(run)).status == 0


def test_faults_are_listed_and_misfits_refused(hitchcall: Hitchcall) -> None:
    """A trainer sees what can be seeded, and is told in one sentence when it cannot."""
    listed = hitchcall("practise", "slide-fifth-wheel", "--fault", "list")
    assert listed.status == 0
    assert "slider-lever-broken" in listed.out
    assert "lamp-dead" not in listed.out
    told = sentence(hitchcall("practise", "couple", "--fault", "lamp-dead"))
    assert "means nothing in couple" in told
    assert "jaw-on-head" in told


def test_a_language_without_a_yard_is_told() -> None:
    """A trainee is not left with a yard that does not speak."""
    with pytest.raises(InputError, match="no words in 'xx'"):
        yard_words("xx")


def _moments() -> Iterator[str]:
    for procedure in ("couple", "uncouple", "doubles"):
        truth = start(procedure, Fit(dolly=procedure == "doubles"))
        yield drawing(truth)
        yield drawing(truth.but(reach=0.0, jaw=Jaw.ON_HEAD, chocks=True).harmed("dropped", "pull-forward"))


def test_the_drawing_is_well_formed_and_tells_what_it_shows() -> None:
    """The side view opens in any browser, and names what it shows for who cannot see it."""
    for text in _moments():
        root = ET.fromstring(text)  # noqa: S314 - made here
        (title,) = root.findall("{http://www.w3.org/2000/svg}title")
        assert "jaws" in (title.text or "")
        assert root.get("role") == "img"
    assert "DROPPED" in text
