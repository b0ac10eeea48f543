"""``hitchcall run`` as a driver meets it: real processes, typed lines, real logs."""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command_line import ROOT, Hitchcall, sentence

from assistant.journal.fold import inputs
from assistant.prepare import grammars, library, prepare


def _run_folder(home: Path) -> Path:
    (found,) = (home / "state/hitchcall/logs").iterdir()
    return found


def _script(procedure: str, rig: str, site: str, crew: str) -> str | None:
    from assistant.commands.phrases import script_lines
    from assistant.errors import FileFaults

    try:
        ready = prepare(library(), grammars(), procedure, rig=rig, site=site, crew=crew)
    except FileFaults:
        return None
    return "\n".join(script_lines(ready)) + "\n"


@pytest.mark.parametrize("site", library().names("sites"))
@pytest.mark.parametrize("rig", [rig for rig in library().names("rigs") if rig != "doubles-dolly"])
def test_a_typed_coupling_ends_done_and_verifies(hitchcall: Hitchcall, home: Path, rig: str, site: str) -> None:
    """Every rig at every site couples to the end by typed lines; the log verifies and replays exactly."""
    typed = _script("couple", rig, site, "alone")
    assert typed is not None
    ended = hitchcall("run", "couple", "--rig", rig, "--site", site, "--ears", "typed", "--voice", "none", typed=typed)
    assert ended.status == 0, ended.err
    assert "The log verifies." in ended.out
    run = _run_folder(home)
    assert hitchcall("log", "verify", str(run)).status == 0
    replayed = hitchcall("log", "replay", str(run))
    assert replayed.status == 0, replayed.err
    assert "every one the same" in replayed.out


def test_a_refused_order_is_spoken_logged_and_moves_nothing(hitchcall: Hitchcall, home: Path) -> None:
    """The refusal of an unsafe announcement reaches the driver with its reason, and the log."""
    lines = ["raising suspension", "tractor stands clear", "driving off"]
    ended = hitchcall("run", "--ears", "typed", "--voice", "none", typed="\n".join(lines))
    assert ended.status == 6
    assert "--resume" in sentence(ended)
    assert "Do not raise the suspension." in ended.out
    decided = [one.decision for one in inputs(_run_folder(home))]
    refused = [one for one in decided if one["kind"] == "refused"]
    assert [one["act"] for one in refused] == ["raise-suspension", "drive-off"]
    assert refused[0]["rule"] == "lift-over-throat"
    assert str(refused[1]["rule"]).startswith("drive-")
    assert all(one["facts"] == {} for one in refused)
    assert [one["step"] for one in refused] == ["where-stands", "tractor-brake"]


def test_a_run_is_resumed_where_it_was(hitchcall: Hitchcall, home: Path) -> None:
    """After an interruption the run goes on, asking again what may have changed, to the same end."""
    lines = (_script("couple", "fixed-spring", "lines-after", "alone") or "").splitlines()
    options = ("--rig", "fixed-spring", "--site", "lines-after", "--ears", "typed", "--voice", "none")
    first = hitchcall("run", "couple", *options, typed="\n".join(lines[:14]))
    assert first.status == 6
    run = _run_folder(home)
    again = [
        "parking brake is set", "that is what i said", "trailer brake is locked on", "that is what i said",
        "chocks in place", "engine off key out", "nobody near the trailer", "pin well ahead",
    ]  # fmt: skip
    second = hitchcall("run", "--resume", str(run), "--ears", "typed", "--voice", "none", typed="\n".join(again + lines[14:]))
    assert second.status == 0, second.out[-800:] + second.err
    assert "We were cut off." in second.out
    assert hitchcall("log", "verify", str(run)).status == 0
    assert hitchcall("log", "replay", str(run)).status == 0
    third = hitchcall("run", "--resume", str(run), "--ears", "typed", "--voice", "none")
    assert third.status == 4
    assert "ended" in sentence(third)


def test_a_kill_at_any_moment_loses_no_accepted_answer(home: Path, environment: dict[str, str], hitchcall: Hitchcall) -> None:
    """Killed at random moments: what the driver was told counts is in the log, and the run can go on."""
    lines = (_script("couple", "fixed-spring", "lines-after", "alone") or "").splitlines()
    rng = random.Random(20261125)
    kills = lost = stuck = 0
    command = [sys.executable, "-m", "assistant.cli", "run", "couple", "--rig", "fixed-spring", "--site", "lines-after",
               "--ears", "typed", "--voice", "none", "--json"]  # fmt: skip
    for _ in range(12):
        shutil.rmtree(home / "state/hitchcall/logs", ignore_errors=True)
        child = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment)
        assert child.stdin is not None
        assert child.stdout is not None
        child.stdin.write(("\n".join(lines) + "\n").encode())
        child.stdin.flush()
        told = []
        stop_after = rng.randrange(3, 40)
        for row in child.stdout:
            told.append(json.loads(row))
            if sum("kind" in one for one in told) >= stop_after:
                break
        time.sleep(rng.random() * 0.02)
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        kills += 1
        accepted = [one["heard"]["phrase"] for one in told if one.get("kind") == "accepted" and one["heard"]]
        run = _run_folder(home)
        logged = [one.event["phrase"] for one in inputs(run) if one.decision["kind"] == "accepted"]
        lost += logged[: len(accepted)] != accepted
        stuck += hitchcall("run", "--resume", str(run), "--ears", "typed", "--voice", "none").status != 6
    print(f"kills {kills}, accepted answers lost {lost}, runs that cannot resume {stuck}")
    assert (kills, lost, stuck) == (12, 0, 0)


def test_a_full_log_folder_stops_the_run_before_it_advances(hitchcall: Hitchcall, tmp_path: Path) -> None:
    """Nothing advances while the log cannot be written: a folder that cannot be is told in one sentence."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    ended = hitchcall("run", "--ears", "typed", "--voice", "none", "--logs", str(blocked / "logs"), typed="tractor stands clear\n")
    assert ended.status == 4
    assert str(blocked) in sentence(ended)
    assert "Where does the tractor stand" not in ended.out


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (("run", "cuople"), "couple"),
        (("run", "couple", "--rig", "none"), "fixed-spring"),
        (("run", "couple", "--site", "moon"), "us-handbook"),
        (("run", "couple", "--lang", "xx"), "xx"),
        (("run", "couple", "--ears", "wav:/no/such/folder"), "/no/such/folder"),
        (("run", "couple", "--ears", "telepathy"), "telepathy"),
        (("run", "couple", "--voice", "opera"), "opera"),
        (("run", "couple", "--procedures", "/no/such/folder"), "/no/such/folder"),
        (("run", "--resume", "/no/such/run"), "/no/such/run"),
        (("run", "couple", "--ears", "typed", "--vosk-model", "/no/such/model"), "/no/such/model"),
        (("phrases", "../couple"), "../couple"),
    ],
)
def test_what_is_named_and_cannot_be_used_is_one_sentence(
    hitchcall: Hitchcall, arguments: tuple[str, ...], named: str
) -> None:
    """A wrong name on the command line ends with status 2 and a sentence that says what there is."""
    ended = hitchcall(*arguments)
    assert ended.status == 2, ended.err
    assert named in sentence(ended)


def test_a_bad_file_tells_all_its_faults_at_once(hitchcall: Hitchcall, tmp_path: Path) -> None:
    """Who writes a procedure sees every fault in one go, with file, step and field."""
    own = tmp_path / "own"
    shutil.copytree(ROOT / "procedures", own)
    text = (own / "couple/procedure.toml").read_text()
    text = text.replace('id = "kingpin"\nblock', 'id = "kingpin"\nhazrd = "x"\nblock').replace('hazard = "pin-on-top"', "hazard = 7")
    (own / "couple/procedure.toml").write_text(text)
    (own / "rigs/slider-air.toml").write_text('format = 1\ntitle = "x"\n[features]\nslider = true\n')
    ended = hitchcall("run", "couple", "--procedures", str(own), "--ears", "typed", "--voice", "none")
    assert ended.status == 2
    told = sentence(ended)
    for part in ("procedure.toml, step kingpin, field hazrd", "step see-pin, field hazard", "slider-air.toml", "slider"):
        assert part in told


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"format = 1\nformat = 2\n", b"[[[", b"x" * 1_100_000])
def test_a_procedure_that_is_no_toml_is_told(hitchcall: Hitchcall, tmp_path: Path, content: bytes) -> None:
    """Broken bytes, an empty or a huge file: a sentence, never a traceback or a hang."""
    own = tmp_path / "own"
    (own / "couple").mkdir(parents=True)
    (own / "couple/procedure.toml").write_bytes(content)
    ended = hitchcall("run", "couple", "--procedures", str(own), "--ears", "typed", "--voice", "none")
    assert ended.status == 2
    assert "couple/procedure.toml" in sentence(ended)


def test_what_does_not_prove_is_not_run_in_the_cab(hitchcall: Hitchcall, home: Path, tmp_path: Path) -> None:
    """A rule taken out of the yard's own copy: no run, but for practice, and then the log says so."""
    own = tmp_path / "own"
    shutil.copytree(ROOT / "procedures", own)
    text = (own / "couple/procedure.toml").read_text()
    broken = text.replace('id = "lines-hang"\n', 'id = "lines-hang"\nneeds = { jaw = ["open"] }\n')
    assert broken != text
    (own / "couple/procedure.toml").write_text(broken)
    ended = hitchcall("run", "couple", "--procedures", str(own), "--ears", "typed", "--voice", "none")
    assert ended.status == 2
    assert "does not prove" in sentence(ended)
    assert not (home / "state/hitchcall/logs").exists()
    ended = hitchcall("run", "couple", "--procedures", str(own), "--ears", "typed", "--voice", "none", "--practice")
    assert ended.status == 6
    assert "practice" in hitchcall("log", "show", str(_run_folder(home)), "--type", "opened").out
