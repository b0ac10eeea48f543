"""The commands a driver or trainer gives, as they give them."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from assistant.errors import HitchcallError, InputError, LogError
from assistant.journal import commands
from assistant.journal.chain import canonical
from assistant.journal.fold import inputs
from assistant.journal.keys import tablet_key
from assistant.journal.records import Json, Opened
from tests.journal.conftest import make_run


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A finished run of a tablet whose key lies in ``keys`` beside it."""
    return make_run(tmp_path / "logs", tablet_key(tmp_path / "keys"))


def give(*words: object) -> Result:
    """Give the command ``hitchcall log`` words and return the outcome."""
    return CliRunner().invoke(commands.log, [str(word) for word in words])


def test_every_command_explains_itself() -> None:
    """A trainer finds out what each command does from the command alone."""
    for name, command in commands.log.commands.items():
        out = give(name, "--help").output
        assert command.help
        assert len(out.split()) > 30, name
        for option in command.params:
            assert isinstance(option, click.Argument) or option.help, (name, option.name)


def test_show(own: Path) -> None:
    """The log can be read by a person, with what was said, and by a program."""
    out = give("show", own).output
    assert "driver “jaw closed 1”: jaw-closed" in out
    assert "reading 110 psi" in out
    assert "no answer (not-a-phrase)" in out
    lines = [json.loads(line) for line in give("show", own, "--json").output.splitlines()]
    assert [line["seq"] for line in lines] == list(range(len(lines)))
    assert len(give("show", own / "log.jsonl", "--type", "heard").output.splitlines()) == 3


def test_verify_on_another_machine(own: Path, tmp_path: Path) -> None:
    """With the public key and the code from the paper a trainer can check a log anywhere."""
    public = tmp_path / "tablet.pem"
    assert give("key", "--keys", tmp_path / "keys", "--out", public).exit_code == 0
    code = json.loads(give("verify", own, "--json").output)["codes"][-1]
    done = give("verify", own, "--key", public, "--code", code)
    assert done.exit_code == 0
    assert "whole. 14 records" in done.output
    assert "This check cannot show:" in done.output
    log = own / "log.jsonl"
    log.write_bytes(log.read_bytes()[:-1])
    torn = give("verify", own, "--key", public)  # as a power cut leaves it
    assert isinstance(torn.exception, commands.UnfinishedError)
    done = give("verify", own, "--key", public, "--code", code)
    assert isinstance(done.exception, LogError)
    assert "DOES NOT VERIFY" in done.output
    log.write_bytes(b"".join(log.read_bytes().splitlines(keepends=True)[:-1]))
    done = give("verify", own)
    assert isinstance(done.exception, commands.UnfinishedError)
    assert done.exception.exit_status == 1
    assert "UNFINISHED" in done.output


def test_verify_with_a_wrong_key_file(own: Path, tmp_path: Path) -> None:
    """Something that is no key is a sentence."""
    (tmp_path / "no.pem").write_text("hello")
    done = give("verify", own, "--key", tmp_path / "no.pem")
    assert isinstance(done.exception, InputError)
    assert str(done.exception).endswith("name the tablet's file tablet.pub.")


@pytest.mark.parametrize("name", ["show", "captions", "verify"])
def test_not_a_log(tmp_path: Path, name: str) -> None:
    """A folder or file that is no log is a sentence, whatever the command."""
    (tmp_path / "x.txt").write_text("hello\n")
    for path in (tmp_path, tmp_path / "x.txt"):
        done = give(name, path)
        assert isinstance(done.exception, HitchcallError)
        assert str(done.exception).endswith(".")


def test_replay_names_the_first_difference(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same inputs must give the same decisions byte for byte; the first other one is named."""
    logged = {canonical(found.event): found for found in inputs(own)}

    def exact(_: Opened) -> commands.Redecide:
        def again(event: Json, at: int) -> Json:
            found = logged[canonical(event)]
            assert at == found.at
            return found.decision

        return again

    def other(_: Opened) -> commands.Redecide:
        return lambda event, _: {**logged[canonical(event)].decision, "step": f"s{min(int(str(event['answer'])), 2)}"}

    monkeypatch.setattr(commands, "redecide_factory", exact)
    assert "3 decisions, every one the same." in give("replay", own).output
    monkeypatch.setattr(commands, "redecide_factory", other)
    done = give("replay", own)
    third = list(inputs(own))[2]
    assert f"line {third.line}:" in str(done.exception)
    assert '"step":"s3"' in done.output
    assert '"step":"s2"' in done.output
    assert json.loads(give("replay", own, "--json").output)["line"] == third.line


@pytest.mark.parametrize("ending", ["csv", "jsonl", "parquet"])
def test_export(own: Path, tmp_path: Path, ending: str) -> None:
    """The same rows in each format, read back by the format's own reader."""
    out = tmp_path / f"run.{ending}"
    if ending == "parquet":
        parquet = pytest.importorskip("pyarrow.parquet", reason="the trainer's extra is not installed")
    assert give("export", own, out).exit_code == 0
    if ending == "csv":
        rows = list(csv.DictReader(out.open(encoding="utf-8", newline="")))
    elif ending == "jsonl":
        rows = [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]
    else:
        rows = parquet.read_table(out).to_pylist()
    assert len(rows) == 14
    assert [int(row["seq"]) for row in rows] == list(range(14))
    [reading] = [row for row in rows if row["reading"]]
    assert (reading["reading"], reading["unit"], reading["words"]) == ("110", "psi", "one one zero psi")
    assert [row["words"] for row in rows if row["unheard"]] == ["lovely “weather” é\n"]


def test_export_refusals(own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another ending, a missing library, an impossible file: a sentence each."""
    assert "ends in none of .csv, .jsonl, .parquet" in str(give("export", own, tmp_path / "x.xls").exception)
    assert "the folder is gone" in str(give("export", own, tmp_path / "no" / "x.csv").exception)
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert "trainer's extra" in str(give("export", own, tmp_path / "x.parquet").exception)


def test_forget_and_keep(own: Path, tmp_path: Path) -> None:
    """From the command line: list, hold, forget; nothing is removed by listing."""
    keys = tmp_path / "keys"
    assert give("keep", own.parent, "--months", "words", 0).output.count("words") == 0  # the run lies ahead in time
    done = give("forget", own, "--keys", keys, "--reason", "asked")
    assert "the words of 3 hearings" in done.output
    assert give("verify", own).exit_code == 0
    assert isinstance(give("hold", own).exception, InputError)
    assert give("hold", own, "--reason", "incident").exit_code == 0
    assert "is held" in str(give("forget", own, "--keys", keys, "--reason", "x").exception)
    assert give("hold", own, "--let-go").exit_code == 0


def test_captions(own: Path, tmp_path: Path) -> None:
    """Captions go to a file; joining sound that was never kept is a sentence."""
    assert give("captions", own, "--out", tmp_path / "x.vtt").exit_code == 0
    assert (tmp_path / "x.vtt").read_text(encoding="utf-8").startswith("WEBVTT\n\n1\n00:00:0")
    assert "only with consent" in str(give("captions", own, "--audio", tmp_path / "x.flac").exception)
