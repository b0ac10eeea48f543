"""Reports: first whether the log stands up, then what happened; one file, nothing from outside, nothing run."""

from __future__ import annotations

import io
import re
import shutil
from pathlib import Path

import pytest
from made_runs import Made
from pypdf import PdfReader

from assistant.debrief.blocks import Column, Heading, Items, Report, Table, Text
from assistant.debrief.folder import Folder
from assistant.debrief.notes import NoteBook, TrainerNote
from assistant.debrief.report_html import to_html
from assistant.debrief.report_pdf import write_pdf
from assistant.debrief.run_report import CAUTION, run_report
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG

EVIL = "<script>alert(1)</script><img src=x onerror=alert(2)> \"&' " + "x" * 300


@pytest.fixture(scope="module")
def report(logs: Path, trainer: TabletKey, tmp_path_factory: pytest.TempPathFactory) -> Report:
    """The report on the run with mistakes, with a note."""
    folder = Folder(logs)
    run = folder.named("2031")
    book = NoteBook(tmp_path_factory.mktemp("notes"), trainer)
    book.add(run.name, run.folder, TrainerNote(8, "2031-05-05T08:00:00+00:00", "Talk about the lines."))
    return run_report(folder, run, book.read(run.name, run.folder))


def pdf_text(report: Report) -> str:
    """What a PDF reader finds in the report, spaces evened out."""
    out = io.BytesIO()
    write_pdf(report, out)
    return " ".join(" ".join(page.extract_text() for page in PdfReader(out).pages).split())


def test_a_report_begins_with_the_verdict_and_tells_all(report: Report) -> None:
    """Promise: nobody reads what happened before they read whether it can be believed."""
    headings = [one.text for one in report.blocks if isinstance(one, Heading) and one.level == 2]
    assert headings == ["Does the log stand up?", "What happened", "Refusals and failures", "Readings", "Trainer's notes",
                        "To bear in mind"]  # fmt: skip
    html = to_html(report)
    for told in (
        "The log is whole: 457 records, none altered.", "Code at the end", "Not shown by this check",
        "Do not pull away. The air lines have not been seen off.", "NAVFAC MO-403 par. 7.3", "before: Danger.",
        "Coupling failed", "122 psi. Limit: at least 100 psi", "Talk about the lines.", "signed with the key", CAUTION.split("'")[0],
    ):  # fmt: skip
        assert told in html, told


def test_the_pdf_says_the_same(report: Report) -> None:
    """Promise: paper and screen tell one story; read back from the PDF itself."""
    text = pdf_text(report)
    for told in (
        "The log is whole: 457 records, none altered.", "Do not pull away. The air lines have not been seen off.",
        "NAVFAC MO-403 par. 7.3", "Coupling failed", "122 psi", "Talk about the lines.", "replaces no inspection",
    ):  # fmt: skip
        assert told in text, told
    assert text.index("whole") < text.index("What happened")


def test_a_broken_log_is_reported_as_not_proven(logs: Path) -> None:
    """Hazard: a doctored log gets a clean report. The alarm stands before everything else, on paper too."""
    folder = Folder(logs)
    report = run_report(folder, folder.named("altered-001"), [])
    alarm = next(at for at, one in enumerate(report.blocks) if isinstance(one, Text) and one.look == "alarm")
    happened = next(at for at, one in enumerate(report.blocks) if one == Heading("What happened"))
    assert alarm < happened
    assert "This log is not proven." in pdf_text(report)


def test_markup_in_words_names_and_notes_stays_text(tmp_path: Path, small: Made, trainer: TabletKey) -> None:
    """Hazard: a typed line or a run's name smuggles a script into the trainer's browser or report."""
    small.mumble(EVIL)
    folder = shutil.move(small.folder, tmp_path / "logs" / "run<b>")
    runs = Folder(tmp_path / "logs")
    run = runs.named("run<b>")
    book = NoteBook(tmp_path / "notes", trainer)
    book.add(run.name, Path(folder), TrainerNote(1, "2031", EVIL))
    report = run_report(runs, run, book.read(run.name, Path(folder)))
    html = to_html(report)
    assert not re.search(r"<(script|img|b)\b", html)
    assert html.count("&lt;script&gt;alert(1)") >= 2
    assert "<script>alert(1)</script><img src=x" in pdf_text(report)


def test_a_report_needs_and_reaches_nothing_outside(report: Report) -> None:
    """Promise: the file opens in ten years, offline: no address in it but its own pictures."""
    html = to_html(report)
    assert re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?(?!data:)[^"')>]*""", html) == []
    assert "default-src 'none'" in html
    assert "http" not in html.replace("http-equiv", "")


def test_masked_numbers_are_never_shown() -> None:
    """Promise: what is masked reads "masked", in every form of the report."""
    columns = (Column("who", "Who"), Column("n", "Number", number=True))
    table = Table("T", columns, [("a", None), ("b", 3), ("c", None)], frozenset({0}))
    report = Report("t", "en", (table, Items(("one",)), Text("x", lead="y")))
    assert to_html(report).count(">masked<") == 1
    assert pdf_text(report).count("masked") == 1


def test_korean_words_print_as_korean(report: Report) -> None:
    """Promise: a Korean run's report is no row of question marks."""
    made = Report("t", "ko", (Heading("트랙터 주차 브레이크를 거십시오.", 1), *report.blocks[:2]))
    assert "트랙터" in pdf_text(made)


def test_the_report_of_an_unreadable_log_is_still_one(tmp_path: Path) -> None:
    """Promise: even of a file that is no log, the report says so and does not fall over."""
    folder = tmp_path / "logs" / "odd"
    folder.mkdir(parents=True)
    (folder / LOG).write_bytes(b"hello\n" * 40)
    runs = Folder(tmp_path / "logs")
    text = pdf_text(run_report(runs, runs.named("odd"), []))
    assert "This log is not proven." in text
    assert "no line in it is a record" in text
