"""Fixtures of the log's tests: a key, a finished reference log, a fast place for many small files."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

from assistant.journal import diagnosis, keys, verify
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.records import Closed, Note
from assistant.journal.writer import Writer
from tests.journal.scripted import answer, opened


class SetClocks:
    """Two clocks that a test sets; both go on by 7 ms each time the steady one is read."""

    def __init__(self, wall: int = 1_935_554_828_000, mono: int = 5_000) -> None:
        self.wall_ms, self.mono_ms = wall, mono

    def wall(self) -> int:
        """The wall clock."""
        return self.wall_ms

    def mono(self) -> int:
        """The steady clock."""
        self.mono_ms += 7
        self.wall_ms += 7
        return self.mono_ms


@pytest.fixture(scope="session")
def fast() -> Iterator[Path]:
    """A folder in memory where the machine has one, since thousands of small logs are written there."""
    memory = Path("/dev/shm")  # noqa: S108 - only for speed; falls back to the usual place
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        yield Path(folder)


@pytest.fixture(scope="session")
def key_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the tablet's key."""
    return tmp_path_factory.mktemp("keys")


@pytest.fixture(scope="session")
def key(key_folder: Path) -> TabletKey:
    """The tablet's key."""
    return tablet_key(key_folder)


@pytest.fixture(scope="session")
def reference(fast: Path, key: TabletKey) -> Path:
    """A finished run's folder. Never written to: tests copy it."""
    return make_run(fast / "reference", key)


@pytest.fixture
def run(reference: Path, fast: Path) -> Iterator[Path]:
    """A copy of the reference run that a test may do anything to."""
    folder = Path(tempfile.mkdtemp(dir=fast)) / reference.name
    shutil.copytree(reference, folder)
    yield folder
    shutil.rmtree(folder.parent)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Remember signatures already checked: the same few stand in thousands of spoilt copies of one log."""
    remembered = lru_cache(maxsize=None)(keys.signed_by)
    monkeypatch.setattr(diagnosis, "signed_by", remembered)
    monkeypatch.setattr(verify, "signed_by", remembered)


def make_run(logs: Path, key: TabletKey, answers: int = 3) -> Path:
    """Write a small finished run and return its folder."""
    writer = Writer.begin(logs, opened(key.public), key, clocks=SetClocks())
    for number in range(1, answers + 1):
        answer(writer, number)
    writer.append(Note(text="end of the script"))
    writer.finish(Closed(outcome="coupled"))
    return writer.folder
