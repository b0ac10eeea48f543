"""Forgetting and keeping: what was said and recorded goes, what was decided stays and verifies."""

from __future__ import annotations

import shutil
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import InputError, LogError
from assistant.journal import keeping
from assistant.journal.audio import audio_hash, keep_audio
from assistant.journal.captions import cues, join_audio
from assistant.journal.diagnosis import Wrong
from assistant.journal.keeping import DEFAULTS, Period, discard, due, forget, hold, let_go, periods
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LogReader
from assistant.journal.records import Closed
from assistant.journal.verify import State, verify
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing
from tests.journal.conftest import SetClocks
from tests.journal.scripted import opened

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


def test_site_periods_and_all_their_faults() -> None:
    """A site may keep longer or shorter; every fault in its table is told at once."""
    own = {"audio": {"days": 7, "source": "works agreement"}}
    assert periods(own)["audio"] == Period(0, 7, "works agreement")
    assert periods(own)["log"] == DEFAULTS["log"]
    with pytest.raises(InputError) as error:
        periods({"sound": {}, "audio": {"days": -1, "source": "x"}, "words": {"months": 3}, "log": {"years": 1}})
    assert len(str(error.value).splitlines()) == 4


def test_nothing_that_is_no_run_is_removed(tmp_path: Path) -> None:
    """A wrong path must not cost anybody their files."""
    (tmp_path / "holiday.jpg").write_text("x")
    with pytest.raises(LogError, match="no run"):
        keeping.discard(tmp_path)
    assert (tmp_path / "holiday.jpg").exists()


def test_joined_audio_is_on_the_captions_clock(recorded: Path, tmp_path: Path) -> None:
    """In a media player each word stands under its own sound."""
    import soundfile  # noqa: PLC0415 - only here

    assert join_audio(recorded, tmp_path / "all.flac") == 3
    sound, rate = soundfile.read(str(tmp_path / "all.flac"), dtype="int16")
    found = [cue for cue in cues(recorded) if cue.audio]
    for number, cue in enumerate(found):
        part = sound[cue.start * rate // 1000 : cue.end * rate // 1000]
        assert audio_hash(part) == cue.audio
        assert set(part) == {number + 1}
