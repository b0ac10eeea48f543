"""Forgetting and keeping: what was said and recorded goes, what was decided stays and verifies."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from click.testing import CliRunner

from assistant.errors import FileFaults, LogError
from assistant.journal import keeping
from assistant.journal.audio import audio_hash, keep_audio
from assistant.journal.captions import cues, join_audio
from assistant.journal.commands import log
from assistant.journal.diagnosis import Wrong
from assistant.journal.keeping import DEFAULTS, Period, discard, due, forget, hold, let_go, periods
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LogReader
from assistant.journal.records import Closed
from assistant.journal.verify import State, verify
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing
from assistant.prepare import library
from assistant.procedure.load import load_site
from assistant.procedure.model import Kept
from tests.journal.conftest import SetClocks
from tests.journal.scripted import opened

ROOT = Path(__file__).parents[2]
ENDED = date(2031, 5, 3)
"""The day of the clocks that the reference run was written with."""


@pytest.fixture
def recorded(tmp_path: Path, key: TabletKey) -> Path:
    """A finished run with consent to words and recordings."""
    clocks = SetClocks()
    writer = Writer.begin(tmp_path, opened(key.public, audio=True), key, clocks=clocks)
    for number in range(3):
        samples = np.full(8_000, number + 1, np.int16)
        clocks.mono_ms += 2_000
        digest = keep_audio(writer.folder, samples)
        writer.hear(Hearing("typed", "jaw closed", phrase="jaw-closed", audio_sha256=digest, start=1.0, end=1.5))
    writer.finish(Closed("coupled"))
    return writer.folder


def test_forgotten_run_still_verifies(recorded: Path, key: TabletKey) -> None:
    """After forgetting no word and no sound is left, and the skeleton stands up with the old code too."""
    old = verify(recorded, public=key.public).codes[-1]
    done = forget(recorded, key, "the driver asked")
    assert (done.audio_files, done.words) == (3, 3)
    assert [path.name for path in recorded.iterdir()] == ["log.jsonl"]
    assert b"jaw closed" not in (recorded / "log.jsonl").read_bytes()
    verdict = verify(recorded, public=key.public, code=old)
    assert verdict.state is State.WHOLE, verdict.text()
    assert any("spoken words of this run were forgotten on purpose" in note for note in verdict.notes)
    assert [e.data["phrase"] for e in LogReader(recorded) if e.kind == "heard"] == ["jaw-closed"] * 3
    forget(recorded, key, "again")  # twice does no harm
    assert verify(recorded, public=key.public, code=verdict.codes[-1]).state is State.WHOLE


def test_interrupted_forgetting_is_seen(recorded: Path, key: TabletKey, tmp_path: Path) -> None:
    """When power fails between the record and the removal, verification says that things are still there."""
    words = (recorded / "words.jsonl").read_bytes()
    forget(recorded, key, "the driver asked")
    (recorded / "words.jsonl").write_bytes(words)
    [finding] = verify(recorded, public=key.public).findings
    assert finding.wrong is Wrong.WORDS
    assert "Run `hitchcall log forget` again" in finding.what
    forget(recorded, key, "the driver asked")
    assert verify(recorded, public=key.public).state is State.WHOLE


def test_forgetting_recordings_alone(recorded: Path, key: TabletKey) -> None:
    """Recordings may go before the words do."""
    forget(recorded, key, "kept long enough", ("audio",))
    assert (recorded / "words.jsonl").exists()
    assert not (recorded / "audio").exists()
    assert verify(recorded, public=key.public).state is State.WHOLE


def test_altered_or_missing_recording_is_found(recorded: Path, key: TabletKey) -> None:
    """A recording proves itself; one that is gone without a record is missed."""
    paths = sorted((recorded / "audio").iterdir())
    shutil.copy(paths[0], paths[1])
    [finding] = verify(recorded, public=key.public).findings
    assert finding.wrong is Wrong.AUDIO
    assert paths[1].name in finding.what
    paths[1].unlink()
    assert "recordings of 1 records are gone" in verify(recorded, public=key.public).findings[0].what


def test_another_tablet_cannot_forget(recorded: Path, tmp_path: Path) -> None:
    """Only the tablet that made a log can go on with it, or the log would no longer be its own."""
    other = tablet_key(tmp_path / "other")
    with pytest.raises(LogError, match="begun on another tablet"):
        forget(recorded, other, "x")
    assert (recorded / "words.jsonl").exists()


def test_held_run_is_left_alone(recorded: Path, key: TabletKey) -> None:
    """After an incident the log is evidence: nothing of a held run can be removed."""
    hold(recorded, "incident at gate 3")
    for remove in (lambda: forget(recorded, key, "x"), lambda: discard(recorded)):
        with pytest.raises(LogError, match="is held"):
            remove()
    assert list(due(recorded.parent, DEFAULTS, date(2099, 1, 1))) == []
    let_go(recorded)
    assert len(list(due(recorded.parent, DEFAULTS, date(2099, 1, 1)))) == 3


def test_default_periods(recorded: Path) -> None:
    """Words three months (49 CFR 396.11(a)(4)), the log fourteen (396.21(b)), recordings 30 days."""

    def kinds(day: date) -> list[str]:
        return [item.kind for item in due(recorded.parent, DEFAULTS, day)]

    assert kinds(ENDED + timedelta(29)) == []
    assert kinds(ENDED + timedelta(30)) == ["audio"]
    assert kinds(date(2031, 8, 2)) == ["audio"]
    assert kinds(date(2031, 8, 3)) == ["audio", "words"]
    assert kinds(date(2032, 7, 2)) == ["audio", "words"]
    assert kinds(date(2032, 7, 3)) == ["audio", "words", "log"]
    assert "396.11(a)(4)" in DEFAULTS["words"].source
    assert "396.21(b)" in DEFAULTS["log"].source


@pytest.mark.parametrize(
    ("since", "months", "over"),
    [(date(2031, 11, 30), 3, date(2032, 2, 29)), (date(2031, 12, 31), 14, date(2033, 2, 28))],
)
def test_month_ends(since: date, months: int, over: date) -> None:
    """Three months after 30 November is the last day of February."""
    assert Period(months, 0, "x").over(since) == over


def test_every_shipped_site_says_how_long_and_why() -> None:
    """No yard is left to guess: each site file has every kind, in the one vocabulary, with its source."""
    assert set(DEFAULTS) == set(get_args(Kept))
    for name in library().names("sites"):
        keep = load_site(library(), name).keep
        assert set(keep) == set(DEFAULTS), name
        assert all(period.source for period in periods(keep).values())
    us = periods(load_site(library(), "us-handbook").keep)
    assert (us["words"].months, us["log"].months) == (3, 14)
    assert "396.11(a)(4)" in us["words"].source
    assert "396.21" in us["log"].source
    depot = periods(load_site(library(), "depot-lines-first").keep)
    assert depot["log"].months == 12
    assert "396.3" in depot["log"].source


def test_a_site_keeps_its_own_time_and_all_its_faults_are_told(tmp_path: Path) -> None:
    """A site may keep longer or shorter; what its table leaves out is as by rule; every fault is told at once."""
    site_file(tmp_path, '[keep.audio]\ndays = 7\nsource = "works agreement"\n')
    own = periods(load_site(library(tmp_path), "own").keep)
    assert own["audio"] == Period(0, 7, "works agreement")
    assert own["log"] == DEFAULTS["log"]
    site_file(
        tmp_path,
        '[keep.sound]\ndays = 1\nsource = "abc"\n[keep.audio]\ndays = -1\nsource = "abc"\n'
        '[keep.words]\nmonths = 3\n[keep.log]\nyears = 1\nsource = "abc"\n',
    )
    with pytest.raises(FileFaults) as error:
        load_site(library(tmp_path), "own")
    told = str(error.value)
    for part in ("keep.sound", "keep.audio.days", "keep.words.source", "keep.log.years"):
        assert part in told
    site_file(tmp_path, '[keep.audio]\nsource = "abc"\n')
    with pytest.raises(FileFaults, match="give months or days"):
        load_site(library(tmp_path), "own")


def site_file(folder: Path, keep: str) -> None:
    """Write a yard's own site: a shipped one with other times."""
    shipped = (ROOT / "procedures/sites/us-handbook.toml").read_text(encoding="utf-8")
    (folder / "sites").mkdir(exist_ok=True)
    (folder / "sites/own.toml").write_text(shipped[: shipped.index("[keep.")] + keep, encoding="utf-8")


def test_a_log_is_not_due_before_what_lies_beside_it(recorded: Path) -> None:
    """Removing a log removes its run's folder; words that must be kept longer hold it back."""
    kept = DEFAULTS | {"words": Period(24, 0, "works agreement")}
    found = list(due(recorded.parent, kept, date(2032, 12, 1)))
    assert [item.kind for item in found] == ["audio"]
    assert {item.kind for item in due(recorded.parent, kept, date(2033, 5, 3))} == {"audio", "words", "log"}


def test_keep_removes_what_a_site_says_is_over(tmp_path: Path, key: TabletKey, key_folder: Path) -> None:
    """`log keep` lists by the site's own times, removes only with --apply, and leaves held and young runs."""
    logs = tmp_path / "logs"
    old = aged(logs, key, "old", days=10)
    held = aged(logs, key, "held", days=10)
    young = aged(logs, key, "young", days=5)
    hold(held, "incident at gate 3")
    site_file(tmp_path, '[keep.audio]\ndays = 7\nsource = "works agreement"\n')
    command = ["keep", str(logs), "--keys", str(key_folder), "--site", "own", "--procedures", str(tmp_path)]
    assert not CliRunner().invoke(log, ["keep", str(logs)]).output, "by the record rules nothing is due yet"
    listed = CliRunner().invoke(log, command)
    assert listed.exit_code == 0, listed.output
    assert [line.split(", ")[0] for line in listed.output.splitlines()] == [f"{old}: audio"]
    assert "works agreement" in listed.output
    assert (old / "audio").exists()
    applied = CliRunner().invoke(log, [*command, "--apply"])
    assert applied.exit_code == 0, applied.output
    assert not (old / "audio").exists()
    assert (old / "words.jsonl").exists()
    assert (held / "audio").exists()
    assert (young / "audio").exists()
    assert verify(old, public=key.public).state is State.WHOLE
    everything = [*command, "--months", "log", "0", "--months", "words", "0", "--apply"]
    assert CliRunner().invoke(log, everything).exit_code == 0
    assert sorted(path.name for path in logs.iterdir()) == ["held", "young"]


def test_a_run_that_cannot_be_removed_does_not_keep_the_others(
    tmp_path: Path, key: TabletKey, key_folder: Path
) -> None:
    """One run of another tablet is told in a sentence; what else is over is removed all the same."""
    aged(tmp_path / "logs", tablet_key(tmp_path / "other"), "a-foreign", days=40)
    own = aged(tmp_path / "logs", key, "b-own", days=40)
    applied = CliRunner().invoke(log, ["keep", str(tmp_path / "logs"), "--keys", str(key_folder), "--apply"])
    assert isinstance(applied.exception, LogError)
    assert "another tablet" in str(applied.exception)
    assert not (own / "audio").exists()


def aged(logs: Path, key: TabletKey, run: str, *, days: int) -> Path:
    """Make a run with one recording that ended so many days ago."""
    wall = int((datetime.now(UTC) - timedelta(days=days, hours=1)).timestamp() * 1000)
    clocks = SetClocks(wall=wall)
    writer = Writer.begin(logs, opened(key.public, audio=True, run=run), key, clocks=clocks)
    digest = keep_audio(writer.folder, np.full(8_000, 1, np.int16))
    clocks.mono_ms += 1_000
    clocks.wall_ms += 1_000
    writer.hear(Hearing("typed", "jaw closed", phrase="jaw-closed", audio_sha256=digest, start=0.1, end=0.6))
    writer.finish(Closed("coupled"))
    return writer.folder


def test_nothing_that_is_no_run_is_removed(tmp_path: Path) -> None:
    """A wrong path must not cost anybody their files."""
    (tmp_path / "holiday.jpg").write_text("x")
    with pytest.raises(LogError, match="no run"):
        keeping.discard(tmp_path)
    assert (tmp_path / "holiday.jpg").exists()


def test_joined_audio_is_on_the_captions_clock(recorded: Path, tmp_path: Path) -> None:
    """In a media player each word stands under its own sound."""
    import soundfile

    assert join_audio(recorded, tmp_path / "all.flac") == 3
    sound, rate = soundfile.read(str(tmp_path / "all.flac"), dtype="int16")
    found = [cue for cue in cues(recorded) if cue.audio]
    for number, cue in enumerate(found):
        part = sound[cue.start * rate // 1000 : cue.end * rate // 1000]
        assert audio_hash(part) == cue.audio
        assert set(part) == {number + 1}
