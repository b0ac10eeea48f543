"""What a driver is told while a run goes on and its log has trouble, through the real session."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from assistant.commands.phrases import script_lines
from assistant.ears.typed import TypedEars
from assistant.journal import disk_watch, writer
from assistant.journal.anchor import digit_by_digit
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey
from assistant.journal.lines import plain
from assistant.journal.reader import LogReader
from assistant.journal.records import Clock, Closed, Device
from assistant.journal.verify import State, verify
from assistant.journal.writer import Writer
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.session import Session, Shown
from assistant.voice.base import Hooks, Line, Receipt
from assistant.voice.play import SilentVoice
from assistant.voice.speech_text import for_ear
from tests.journal.conftest import SetClocks
from tests.journal.scripted import opened


class ToldVoice(SilentVoice):
    """Makes no sound and remembers what it was to say."""

    def __init__(self) -> None:
        super().__init__(Hooks())
        self.told: list[str] = []

    def say(self, lines: Sequence[Line]) -> Receipt:
        """Take lines."""
        self.told += [line.text for line in lines]
        return super().say(lines)


class HangingDisk(Disk):
    """Takes no sync to its end, from a given one on, until it is let go."""

    def __init__(self) -> None:
        self.let_go = threading.Event()
        self.let_go.set()

    def sync(self, fd: int) -> None:
        """Hang."""
        assert self.let_go.wait(20)
        super().sync(fd)


@pytest.fixture(scope="module")
def ready() -> Prepared:
    """A coupling without counted waits."""
    return prepare(library(), grammars(), "couple", rig="fixed-spring", site="lines-after")


def session(ready: Prepared, log: Writer, voice: ToldVoice, lines: list[str], shown: list[Shown]) -> Session:
    """Return a session of typed lines."""
    ears = TypedEars(io.StringIO("".join(f"{line}\n" for line in lines)))
    return Session(ready, log, ears, voice, shown.append)


def test_the_code_is_said_digit_by_digit_at_start_and_end(ready: Prepared, key: TabletKey, tmp_path: Path) -> None:
    """The driver can write the anchor on the paperwork by ear: the very codes that verify knows."""
    voice = ToldVoice()
    log = Writer.begin(tmp_path, opened(key.public), key)
    assert session(ready, log, voice, script_lines(ready), []).run()
    codes = verify(log.folder, public=key.public).codes
    assert len(codes) == 2
    assert voice.told[1] == f"Log code so far: {digit_by_digit(codes[0])}. Write it on the paperwork."
    assert voice.told[-1] == f"Log code at the end: {digit_by_digit(codes[1])}. Write it on the paperwork."
    assert verify(log.folder, public=key.public, code=codes[1]).state is State.WHOLE


@pytest.mark.parametrize(
    ("lang", "said"),
    [("en", "four eight two one, zero niner three seven, five five one six, four two"),
     ("ko", "넷 팔 둘 하나, 공 아홉 삼 칠, 오 오 하나 여섯, 넷 둘")],
)  # fmt: skip
def test_a_code_is_spoken_by_the_radio_rule(lang: str, said: str) -> None:
    """No digit is lost or run together, a leading nought neither (FAA AIM 4-2-8)."""
    assert for_ear(digit_by_digit("4821 0937 5516 42"), lang) == said


def test_a_disk_that_hangs_is_told_while_it_hangs(
    ready: Prepared, key: TabletKey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing advances, and the driver is told why, before the write has ended; then the log says it too."""
    monkeypatch.setattr(writer, "SLOW_S", 0.05)
    monkeypatch.setattr(disk_watch, "SLOW_S", 0.05)
    voice, disk, shown, notices = ToldVoice(), HangingDisk(), [], []
    log = Writer.begin(tmp_path, opened(key.public), key, disk=disk)
    lines = script_lines(ready)[:3]
    run = session(ready, log, voice, lines, shown)
    told = threading.Event()

    def notice(text: str) -> None:
        notices.append((text, len(shown)))
        told.set()

    run.notice = notice
    disk.let_go.clear()
    going = threading.Thread(target=run.run)
    going.start()
    assert told.wait(20)
    sentence = "The log is slow to be written. Wait. Nothing counts until it is."
    assert notices[0][0] == sentence
    time.sleep(0.2)
    assert (len(notices), len(shown)) == (1, 0), "told once, and nothing was shown that is not on the disk"
    disk.let_go.set()
    going.join(20)
    assert not going.is_alive()
    assert sentence in voice.told
    assert len(shown) == 4
    slow = [entry.record for entry in LogReader(log.folder) if isinstance(entry.record, Device)]
    assert [(one.what, one.state) for one in slow[:1]] == [("disk", "slow")]
    assert "s to be written" in plain(slow[0], None)
    assert verify(log.folder, public=key.public).state is State.UNFINISHED


@pytest.mark.parametrize("moved_ms", [-3_600_000, 86_400_000])
def test_a_clock_that_is_set_is_said_shown_and_logged(
    ready: Prepared, key: TabletKey, tmp_path: Path, moved_ms: int
) -> None:
    """Set back or forward, the wall clock of the tablet is no secret, and the order of records stands."""
    clocks, voice, shown = SetClocks(), ToldVoice(), []
    log = Writer.begin(tmp_path, opened(key.public), key, clocks=clocks)
    lines = script_lines(ready)
    run = session(ready, log, voice, lines, shown)

    def set_once(one: Shown) -> None:
        shown.append(one)
        if len(shown) == 3:
            clocks.wall_ms += moved_ms

    run.screen = set_once
    assert run.run()
    sentence = "The clock of this tablet was set. The log has noted it."
    assert voice.told.count(sentence) == 1
    assert [any(line.text == sentence for line in one.sentences) for one in shown].count(True) == 1
    [record] = [entry.record for entry in LogReader(log.folder) if isinstance(entry.record, Clock)]
    assert abs(record.moved_ms - moved_ms) < 1000
    verdict = verify(log.folder, public=key.public)
    assert verdict.state is State.WHOLE
    assert any("wall clock was set 1 times" in note for note in verdict.notes)


def test_a_clock_set_at_the_very_end_does_not_spoil_the_seal(key: TabletKey, tmp_path: Path) -> None:
    """Nothing may come between the end of a run and its seal, a note on the clock neither."""

    class Jumping(SetClocks):
        def wall(self) -> int:
            self.wall_ms += 5_000
            return self.wall_ms

    log = Writer.begin(tmp_path, opened(key.public), key, clocks=Jumping())
    log.finish(Closed("coupled"))
    assert verify(log.folder, public=key.public).state is State.WHOLE
