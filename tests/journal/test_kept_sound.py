"""Sound kept with a run, from the recordings to the captions: the real command, the real recognisers."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from command_line import Hitchcall

from assistant.ears.base import KeepsSound
from assistant.ears.choose import open_pair
from assistant.ears.microphone import MicrophoneEars
from assistant.ears.typed import TypedEars
from assistant.ears.wavs import WavEars
from assistant.journal.audio import audio_hash, read_audio
from assistant.journal.captions import cues
from assistant.journal.reader import LogReader
from assistant.journal.records import Heard, Opened
from assistant.phrases.book import load_book
from assistant.prepare import grammars, library, prepare
from assistant.recorded_driver import RecordedDriver
from assistant.shipped import shipped
from assistant.voice.other_voices import other_voices, say_with

SAID = ("tractor stands clear", "parking brake is set", "say again")
COMMAND = ("run", "couple", "--rig", "fixed-spring", "--site", "lines-after", "--voice", "none", "--json")


@pytest.fixture(scope="module")
def recordings(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three answers as a driver's recordings."""
    folder = tmp_path_factory.mktemp("driver")
    found = other_voices()
    assert found, "no speech program is installed; run ./check, which installs espeak-ng"
    for number, words in enumerate(SAID):
        say_with(found[0], words, folder / f"{number}.wav")
    return folder


def run_folder(home: Path) -> Path:
    """The only run of a tablet."""
    [run] = (home / "state/hitchcall/logs").iterdir()
    return run


def heard(run: Path) -> list[Heard]:
    """The hearings in a log."""
    return [entry.record for entry in LogReader(run) if isinstance(entry.record, Heard)]


def consent(run: Path) -> bool:
    """What the first record says of keeping sound."""
    return next(entry.record.consent_audio for entry in LogReader(run) if isinstance(entry.record, Opened))


def test_what_is_heard_with_consent_is_kept_captioned_and_verified(
    hitchcall: Hitchcall, home: Path, recordings: Path, tmp_path: Path
) -> None:
    """Each hearing's FLAC has the hash in its record, by this program and by flac; captions stand on its clock."""
    ended = hitchcall(*COMMAND, "--ears", f"wav:{recordings}", "--keep-sound")
    assert ended.status == 6, ended.err
    run = run_folder(home)
    hearings = heard(run)
    assert consent(run)
    assert len(hearings) == len(SAID)
    kept = {path.stem: path for path in (run / "audio").iterdir()}
    assert set(kept) == {one.audio for one in hearings}
    for digest, path in kept.items():
        assert audio_hash(read_audio(path)) == digest
        assert path.stat().st_mode & 0o777 == 0o600
    assert (run / "audio").stat().st_mode & 0o777 == 0o700
    if shutil.which("flac"):
        raw = subprocess.run(
            ["flac", "-dcs", "--force-raw-format", "--endian=little", "--sign=signed", str(kept[hearings[0].audio])],
            capture_output=True, check=True, timeout=60,
        ).stdout  # fmt: skip
        assert audio_hash(np.frombuffer(raw, "<i2")) == hearings[0].audio
    assert hitchcall("log", "verify", str(run), "--json").status == 1, "sound as far as it goes"
    captions, joined = tmp_path / "run.vtt", tmp_path / "run.flac"
    assert hitchcall("log", "captions", str(run), "--out", str(captions), "--audio", str(joined)).status == 0
    samples, rate = soundfile.read(str(joined), dtype="int16")
    found = sorted((cue for cue in cues(run) if cue.audio), key=lambda cue: cue.start)
    assert [cue.text for cue in found] == list(SAID)
    for cue in found:
        sound = read_audio(kept[cue.audio])
        part = samples[cue.start * rate // 1000 :][: len(sound)]
        assert np.array_equal(part, sound), "the words stand under their own sound"
        assert f"{cue.text}</v>" in captions.read_text(encoding="utf-8")
    (kept[hearings[1].audio]).unlink()
    assert hitchcall("log", "verify", str(run)).status == 4, "a recording that went without a record is missed"


def test_without_consent_no_sound_is_kept(hitchcall: Hitchcall, home: Path, recordings: Path) -> None:
    """Off by default, and a resume cannot turn on what nobody agreed to at the start, nor lose what they did."""
    assert hitchcall(*COMMAND, "--ears", f"wav:{recordings}").status == 6
    run = run_folder(home)
    assert not consent(run)
    ears = ("--ears", f"wav:{recordings}", "--voice", "none", "--keep-sound", "--json")
    resumed = hitchcall("run", "--resume", str(run), *ears)
    assert any("none is kept" in json.loads(row).get("notice", "") for row in resumed.out.splitlines())
    assert len(heard(run)) > len(SAID)
    assert not (run / "audio").exists()
    assert hitchcall("log", "verify", str(run)).status == 1


def test_consent_holds_over_a_resume(hitchcall: Hitchcall, home: Path, recordings: Path) -> None:
    """A run begun with consent keeps its sound after a power cut without being told again."""
    assert hitchcall(*COMMAND, "--ears", f"wav:{recordings}", "--keep-sound").status == 6
    run = run_folder(home)
    hitchcall("run", "--resume", str(run), "--ears", f"wav:{recordings}", "--voice", "none")
    assert len(heard(run)) > len(SAID)
    assert {path.stem for path in (run / "audio").iterdir()} == {one.audio for one in heard(run) if one.audio}
    assert hitchcall("log", "verify", str(run)).status == 1


def test_all_ears_that_hear_sound_can_keep_it(recordings: Path, tmp_path: Path) -> None:
    """What a run keeps is asked of the ears by one name; ears without sound do not pretend to have it."""
    pair = open_pair(load_book(shipped("grammars"), "en")).pair
    ears = WavEars(recordings, pair)
    assert isinstance(ears, KeepsSound)
    assert ears.last_samples is None
    assert isinstance(MicrophoneEars(pair, "pipe:/nowhere"), KeepsSound)
    assert isinstance(
        RecordedDriver(prepare(library(), grammars(), "couple"), pair, tmp_path, lambda: None), KeepsSound
    )
    assert not isinstance(TypedEars.__new__(TypedEars), KeepsSound)
    ears.close()
