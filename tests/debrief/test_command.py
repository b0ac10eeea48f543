"""``hitchcall debrief`` as a trainer runs it."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from command_line import ROOT, Hitchcall, sentence
from pypdf import PdfReader

from assistant.commands.debrief import walking
from assistant.errors import InputError
from assistant.journal.keys import tablet_key


def everything(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, byte for byte."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_one_command_gives_the_report_on_a_folder(hitchcall: Hitchcall, logs: Path, tmp_path: Path) -> None:
    """Promise: a trainer with a folder of logs and one command gets the report; the folder stays as it is."""
    before = everything(logs)
    out = tmp_path / "all.html"
    ended = hitchcall("debrief", str(logs), "--report", str(out), "--walk", "7", "--walk", "see-jaw=25")
    assert ended.status == 0, ended.err
    assert "Runs: 9 new" in ended.err
    assert "Files not proven: 1." in ended.err
    text = out.read_text()
    assert text.index("Do the logs stand up?") < text.index("How long does a procedure take")
    assert "a walk of 7 s" in text
    assert everything(logs) == before
    again = hitchcall("debrief", str(logs), "--report", str(tmp_path / "all.pdf"))
    assert again.status == 0, again.err
    assert "Runs: 0 new" in again.err
    pages = PdfReader(tmp_path / "all.pdf").pages
    assert "9 runs at work" in pages[0].extract_text()
    assert len(pages) > 4


def test_keys_named_later_still_keep_other_tablets_out(hitchcall: Hitchcall, logs: Path, tmp_path: Path) -> None:
    """Hazard: runs that were counted before the trainer named the tablets stay among the figures."""
    tablet_key(tmp_path / "mine")
    for more, aside in (((), 1), (("--tablets", str(tmp_path / "mine")), 10)):
        ended = hitchcall("debrief", str(logs), "--parquet", str(tmp_path / "out"), *more)
        assert ended.status == 0, ended.err
        assert f"Exported: {10 - aside} runs." in ended.err
        assert f"Files not proven: {aside}." in ended.err


def test_one_run_is_reported_by_the_beginning_of_its_name(hitchcall: Hitchcall, logs: Path, tmp_path: Path) -> None:
    """Promise: a single run needs no store."""
    out = tmp_path / "run.html"
    ended = hitchcall("debrief", str(logs), "--run", "2031", "--report", str(out))
    assert ended.status == 0, ended.err
    assert "Pulling away was refused." in out.read_text()
    assert not (tmp_path / "tablet" / "state" / "hitchcall" / "notes").exists()


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (("--report", "x.doc"), "neither in .html nor in .pdf"),
        (("--run", "nobody", "--report", "x.html"), "names no run"),
        (("--run", "fleet", "--report", "x.html"), "names 8 runs"),
        (("--walk", "soon", "--report", "x.html"), "is no walking time"),
        (("--store", "mysql://x/y", "--report", "x.html"), "SQLite file or in PostgreSQL"),
        (("--spark", "--report", "x.html"), "is no export"),
    ],
)
def test_what_cannot_be_done_is_told_in_a_sentence(
    hitchcall: Hitchcall, logs: Path, more: tuple[str, ...], why: str
) -> None:
    """Promise: a wrong wish ends in one sentence that says what to do."""
    ended = hitchcall("debrief", str(logs), *more)
    assert ended.status == 2
    assert why in sentence(ended)


def test_an_export_is_reported_on_without_its_logs(hitchcall: Hitchcall, logs: Path, tmp_path: Path) -> None:
    """Promise: a fleet's figures come from exported files alone, on a machine that has no log."""
    export, out = tmp_path / "export", tmp_path / "export.html"
    ended = hitchcall("debrief", str(logs), "--parquet", str(export))
    assert ended.status == 0, ended.err
    assert ended.out == f"Export: {export}\n"
    assert "name a report with --report" in sentence(hitchcall("debrief", str(export)))
    ended = hitchcall("debrief", str(export), "--report", str(out))
    assert ended.status == 0, ended.err
    text = out.read_text()
    assert "9 runs at work" in text
    assert "Yard A" not in text


def test_a_folder_without_logs_is_told(hitchcall: Hitchcall, tmp_path: Path) -> None:
    """Promise: the wrong folder is named."""
    ended = hitchcall("debrief", str(tmp_path))
    assert ended.status == 2
    assert "holds no log" in sentence(ended)


def test_the_page_comes_up_and_ends_when_told(logs: Path, environment: dict[str, str]) -> None:
    """Promise: the command prints its address, serves, and ends cleanly."""
    command = [sys.executable, "-m", "assistant.cli", "debrief", str(logs)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment, cwd=ROOT
    ) as process:
        assert process.stdout is not None
        found = re.search(r"Page: (http://127\.0\.0\.1:\d+/)#\S{20,}", process.stdout.readline())
        assert found is not None
        with urllib.request.urlopen(found[1], timeout=10) as answer:  # noqa: S310 - its own address
            assert b"<title>Debrief</title>" in answer.read()
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0


def test_walking_times_are_read() -> None:
    """Promise: seconds for all steps, or for one."""
    assert walking(()) == (5, {})
    assert walking(("20", "see-jaw=25", "tug=3")) == (20, {"see-jaw": 25, "tug": 3})
    for odd in ("-1", "x", "see-jaw=", "=", "9999", "1.5", "see-jaw=x"):
        with pytest.raises(InputError):
            walking((odd,))
