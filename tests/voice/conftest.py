"""What the tests of the voice share: a real synthesiser, broken ones, and a loudspeaker of memory."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from assistant.voice.cache import Cache
from assistant.voice.clip import Clip
from assistant.voice.loudness import Manner
from assistant.voice.sink import Played
from assistant.voice.speech import Speech
from assistant.voice.synth import Command, Synth

HEADER = "import json, sys, time, wave\nprint(json.dumps({'ok': True, 'engine': 'broken'}), flush=True)\n"


def broken_command(folder: Path, body: str) -> Command:
    """Return a command whose child greets like the real one, then does ``body`` for each request."""
    script = folder / "broken_child.py"
    lines = "\n".join(f"    {line}" for line in body.splitlines())
    script.write_text(
        f"{HEADER}for line in sys.stdin:\n    request = json.loads(line)\n"
        f"    open({str(folder / 'tries')!r}, 'a').write('x')\n{lines}\n"
    )
    return lambda _manner: [sys.executable, str(script)]


@dataclass
class MemorySink:
    """A loudspeaker that keeps what it was given; ``gate`` holds it back until the test opens it."""

    clips: list[Clip] = field(default_factory=list)
    gate: threading.Event = field(default_factory=threading.Event)
    playing: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(0))
    trouble: str = ""
    closed: bool = False

    def play(self, clip: Clip, stop: threading.Event) -> Played:
        """Play until the gate opens or ``stop`` is set."""
        self.clips.append(clip)
        self.playing.release()
        if self.trouble:
            return Played(0.0, ended=False, trouble=self.trouble)
        while not self.gate.wait(0.005):
            if stop.is_set():
                return Played(0.1, ended=False)
        return Played(clip.seconds, ended=True)

    def close(self) -> None:
        """Note the end."""
        self.closed = True


@pytest.fixture(scope="session")
def shared_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a cache folder that real synthesis may fill once for all tests."""
    return tmp_path_factory.mktemp("voice-cache")


@pytest.fixture
def speech(shared_cache: Path) -> Iterator[Speech]:
    """Return real English speech."""
    made = Speech(Synth(Cache(shared_cache), Manner()), "en")
    yield made
    made.close()


@pytest.fixture
def broken_speech(tmp_path: Path) -> Iterator[Callable[[str], Speech]]:
    """Return a maker of speech whose synthesiser does what the given code says."""
    made: list[Speech] = []

    def make(body: str) -> Speech:
        synth = Synth(
            Cache(tmp_path / "cache"), Manner(), command=broken_command(tmp_path, body), patience=0.2
        )
        made.append(Speech(synth, "en"))
        return made[-1]

    yield make
    for each in made:
        each.close()


@pytest.fixture
def sink() -> MemorySink:
    """Return a loudspeaker of memory, its gate closed."""
    return MemorySink()


@pytest.fixture
def hum() -> Clip:
    """Return one second of a 440 Hz hum at 22,050 Hz."""
    time = np.arange(22_050) / 22_050
    return Clip((np.sin(2 * np.pi * 440 * time) * 9000).astype(np.int16), 22_050)
