"""A trainer's notes stand beside the log, never in it, and show when they were tampered with."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from assistant.debrief.notes import LONGEST, NoteBook, TrainerNote
from assistant.errors import InputError, LogError
from assistant.journal.keys import TabletKey, fingerprint, signing_key
from assistant.journal.reader import LOG

WALL = "2031-05-05T08:00:00+00:00"


@pytest.fixture
def run(tmp_path: Path, mistakes: Path) -> Path:
    """A run's folder of this test's own."""
    return shutil.copytree(mistakes, tmp_path / "run")


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder, byte for byte."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_notes_are_kept_signed_and_outside_the_run(tmp_path: Path, run: Path, trainer: TabletKey) -> None:
    """Promise: the driver's log is the driver's: a note changes not a byte of its folder."""
    before = contents(run)
    book = NoteBook(tmp_path / "notes", trainer)
    book.add("r", run, TrainerNote(8, WALL, "Look at <b>him</b> here."))
    book.add("r", run, TrainerNote(9, WALL, "And here."))
    (found,) = NoteBook(tmp_path / "notes", trainer).read("r", run)
    assert [note.text for note in found.notes] == ["Look at <b>him</b> here.", "And here."]
    assert (found.fault, found.own, found.by) == ("", True, fingerprint(trainer.public))
    assert contents(run) == before
    book.remove("r", run, 0)
    assert [note.text for note in book.read("r", run)[0].notes] == ["And here."]


@pytest.mark.parametrize("change", ["text", "moment", "signature", "key", "garbage", "run"])
def test_an_altered_note_says_so(tmp_path: Path, run: Path, trainer: TabletKey, change: str) -> None:
    """Hazard: somebody puts words into the trainer's mouth. Each change of the file is told."""
    book = NoteBook(tmp_path / "notes", trainer)
    path = book.add("r", run, TrainerNote(8, WALL, "He stopped.")).path
    data = json.loads(path.read_bytes())
    if change == "text":
        data["notes"][0]["text"] = "He never stopped."
    elif change == "moment":
        data["notes"][0]["moment"] = 9
    elif change == "signature":
        data["signature"] = "00" * 64
    elif change == "key":
        data["key"] = signing_key(tmp_path / "other", "trainer").public
    elif change == "run":
        data["run"] = "another"
    path.write_bytes(b"{" if change == "garbage" else json.dumps(data).encode())
    (found,) = book.read("r", run)
    assert found.fault
    with pytest.raises(LogError, match="does not stand up"):
        book.add("r", run, TrainerNote(8, WALL, "More."))


def test_notes_belong_to_one_run_and_to_the_log_as_it_was(tmp_path: Path, run: Path, trainer: TabletKey) -> None:
    """Hazard: notes on one driver's run are laid beside another's, or the log is changed behind them."""
    book = NoteBook(tmp_path / "notes", trainer)
    path = book.add("r", run, TrainerNote(8, WALL, "He stopped.")).path
    shutil.copy(path, path.with_name(path.name.replace("r-", "s-", 1)))
    other = book._path("s", trainer.public)
    shutil.copy(path, other)
    assert book.read("s", run)[0].fault == "It belongs to another run."
    lines = (run / LOG).read_bytes().splitlines(keepends=True)
    (run / LOG).write_bytes(b"".join(lines[:-1]))
    assert "changed since" in book.read("r", run)[0].fault


def test_another_trainers_notes_stand_beside_ones_own(tmp_path: Path, run: Path, trainer: TabletKey) -> None:
    """Promise: two trainers share a folder; each signs, and neither can change the other's."""
    other = signing_key(tmp_path / "other", "trainer")
    NoteBook(tmp_path / "notes", other).add("r", run, TrainerNote(3, WALL, "Mine."))
    NoteBook(tmp_path / "notes", trainer).add("r", run, TrainerNote(8, WALL, "Ours."))
    mine, theirs = NoteBook(tmp_path / "notes", trainer).read("r", run)
    assert (mine.own, theirs.own) == (True, False)
    assert theirs.by == fingerprint(other.public)
    assert not theirs.fault


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b", "", "..", "x" * 300, "한글", "a\x00b", "\udc80"])
def test_a_runs_name_never_leads_out_of_the_folder(tmp_path: Path, run: Path, trainer: TabletKey, name: str) -> None:
    """Hazard: a log names its run "../../…", and a note is written over another file."""
    book = NoteBook(tmp_path / "notes", trainer)
    if name == "\udc80":
        with pytest.raises(InputError):
            book.add(name, run, TrainerNote(1, WALL, "x"))
        return
    path = book.add(name, run, TrainerNote(1, WALL, "x")).path
    assert path.parent == tmp_path / "notes"
    assert book.read(name, run)[0].notes[0].text == "x"


def test_empty_and_endless_notes_are_refused(tmp_path: Path, run: Path, trainer: TabletKey) -> None:
    """Promise: a slip of the hand writes nothing."""
    book = NoteBook(tmp_path / "notes", trainer)
    for text in ("", "  \n", "x" * (LONGEST + 1)):
        with pytest.raises(InputError, match="1 to"):
            book.add("r", run, TrainerNote(8, WALL, text))
    assert book.read("r", run) == []


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path, run: Path, trainer: TabletKey) -> None:
    """Promise: a note that is not kept is never shown as kept."""
    (tmp_path / "notes").write_text("in the way")
    with pytest.raises(LogError, match="write the notes"):
        NoteBook(tmp_path / "notes", trainer).add("r", run, TrainerNote(8, WALL, "x"))
