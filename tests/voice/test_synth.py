"""Synthesis: what the synthesiser claims is never believed, and nothing it does may hang a session."""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from assistant.voice.cache import Cache
from assistant.voice.clip import Clip, Failure, doubt, read_wav, write_wav
from assistant.voice.loudness import Manner
from assistant.voice.synth import Synth

from .conftest import broken_command

WELL = "import shutil\nshutil.copy({good!r}, request['path'])\nprint(json.dumps({{'ok': True}}), flush=True)"
SILENT = """
w = wave.open(request['path'], 'wb'); w.setnchannels(1); w.setsampwidth(2); w.setframerate(22050)
w.writeframes(bytes(88200)); w.close()
print(json.dumps({'ok': True}), flush=True)
""".strip()
BREAKS = {
    "sleeps": ("time.sleep(600)", "did not answer within"),
    "writes nothing": ("print(json.dumps({'ok': True}), flush=True)", "wrote no sound"),
    "writes a stub": (
        "open(request['path'], 'wb').write(b'RIFF')\nprint(json.dumps({'ok': True}), flush=True)",
        "wrote no sound",
    ),
    "writes silence": (SILENT, "silent"),
    "says why": ("print(json.dumps({'ok': False, 'why': 'no voice'}), flush=True)", "no voice"),
    "talks rubbish": ("print('%%%', flush=True)", "ended by itself"),
    "dies": ("sys.exit(1)", "ended by itself"),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_broken_synthesiser_is_a_reason_not_a_hang(name: str, tmp_path: Path) -> None:
    """Promise: a hazard that cannot be synthesised is told, after one retry in a fresh child."""
    body, reason = BREAKS[name]
    synth = Synth(Cache(tmp_path / "c"), Manner(), command=broken_command(tmp_path, body), patience=0.2)
    outcome = synth.clip("Danger. Nobody between the tractor and the trailer.")
    assert isinstance(outcome, Failure)
    assert reason in outcome.reason
    assert (tmp_path / "tries").read_text() == "xx"
    assert not list((tmp_path / "c").glob("*.wav"))
    assert synth._child is None
    synth.close()


def test_a_failing_synthesiser_does_not_hold_up_every_prompt(tmp_path: Path) -> None:
    """Promise: a session with a dead voice starts; the prompts after two failures are not waited for."""
    command = broken_command(tmp_path, "time.sleep(600)")
    synth = Synth(Cache(tmp_path / "c"), Manner(), command=command, patience=0.1)
    told: list[tuple[int, int]] = []
    failed = synth.prepare([f"Check number {n}" for n in range(40)], lambda a, b: told.append((a, b)))
    assert len(failed) == 40
    assert told[-1] == (40, 40)
    assert len((tmp_path / "tries").read_text()) == 3
    synth.close()


def test_a_short_answer_to_a_long_text_is_refused(tmp_path: Path, speech_file: Path) -> None:
    """Hazard: of three queued texts pyttsx3 speaks one; a clip too short for its text is refused."""
    command = broken_command(tmp_path, WELL.format(good=str(speech_file)))
    synth = Synth(Cache(tmp_path / "c"), Manner(), command=command, patience=0.5)
    long = "Danger. Nobody between the tractor and the trailer. " * 4
    outcome = synth.clip(long.strip())
    assert isinstance(outcome, Failure)
    assert "were expected" in outcome.reason
    synth.close()


@pytest.fixture
def speech_file(tmp_path: Path, shared_cache: Path) -> Path:
    """Return a WAV file of the word "Stop"."""
    synth = Synth(Cache(shared_cache), Manner())
    clip = synth.clip("Stop.")
    synth.close()
    assert isinstance(clip, Clip)
    write_wav(tmp_path / "stop.wav", clip)
    return tmp_path / "stop.wav"


def test_several_texts_in_one_child_are_each_spoken(tmp_path: Path) -> None:
    """Hazard: pyttsx3 keeps one text slot; hazard, step and question must all come out, each itself."""
    synth = Synth(Cache(tmp_path), Manner())
    texts = ["Danger. Crush hazard.", "Back in gently until the lock closes.", "Is the jaw closed?"]
    told: list[tuple[int, int]] = []
    assert synth.prepare(texts, lambda done, every: told.append((done, every))) == {}
    assert told == [(1, 3), (2, 3), (3, 3)]
    clips = [synth.clip(text) for text in texts]
    assert all(
        isinstance(clip, Clip) and not doubt(clip, text, 155) for clip, text in zip(clips, texts, strict=True)
    )
    assert len({clip.pcm.tobytes() for clip in clips if isinstance(clip, Clip)}) == 3
    assert len(list(tmp_path.glob("*.wav"))) == 3
    assert not list(tmp_path.glob(".draft*"))
    synth.close()


def test_rate_is_what_was_asked_after_a_change_of_voice(tmp_path: Path) -> None:
    """Hazard: pyttsx3 keeps the old voice's rate after a change of voice, so "slower" would do nothing."""
    synth = Synth(Cache(tmp_path), Manner("en-us", 230))
    text = "트랙터 주차 브레이크를 거십시오."
    assert isinstance(synth.clip("Set the brake."), Clip)
    lengths = []
    for rate in (110, 230):
        synth.set_manner(Manner("ko", rate))
        clip = synth.clip(text)
        assert isinstance(clip, Clip)
        lengths.append(clip.seconds)
    synth.close()
    assert lengths[0] > 1.8 * lengths[1]


def test_every_fresh_child_speaks_at_the_rate_asked(tmp_path: Path) -> None:
    """Hazard: pyttsx3 alone loses rate or the last words by a race in about one process in twenty."""
    text = "Legs fully up and crank stowed."
    lengths: list[float] = []

    def speak(number: int) -> None:
        synth = Synth(Cache(tmp_path / str(number)), Manner("en-us", 110))
        clip = synth.clip(text)
        synth.close()
        lengths.append(clip.seconds if isinstance(clip, Clip) else 0.0)

    for number in range(0, 24, 3):
        threads = [threading.Thread(target=speak, args=(number + extra,)) for extra in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len(lengths) == 24
    assert max(lengths) < 1.05 * min(lengths)
    assert min(lengths) > 3.3


def test_an_unknown_voice_is_told(tmp_path: Path) -> None:
    """Hazard: pyttsx3 goes on with the previous voice, and Korean would be read out as English."""
    synth = Synth(Cache(tmp_path), Manner("nonsense"))
    outcome = synth.clip("Set the brake.")
    assert isinstance(outcome, Failure)
    assert "nonsense" in outcome.reason
    synth.close()


def test_prompts_of_the_cache_are_spoken_without_the_synthesiser(tmp_path: Path) -> None:
    """Promise: fixed prompts made once are heard even when the synthesiser breaks later."""
    good = Synth(Cache(tmp_path / "c"), Manner())
    assert isinstance(good.clip("Set the brake."), Clip)
    good.close()
    gone = Synth(Cache(tmp_path / "c"), Manner(), command=lambda _: [str(tmp_path / "not there")])
    assert isinstance(gone.clip("Set the brake."), Clip)
    assert isinstance(gone.clip("Something new."), Failure)
    gone.close()


@pytest.mark.parametrize("damage", [b"", b"RIFF", b"RIFF\x24\x00\x00\x00WAVEfmt "])
def test_a_damaged_cache_file_is_made_again(damage: bytes, tmp_path: Path) -> None:
    """Hazard: a power cut leaves an empty file; it must not become a silent hazard."""
    synth = Synth(Cache(tmp_path), Manner())
    assert isinstance(synth.clip("Set the brake."), Clip)
    (file,) = tmp_path.glob("*.wav")
    file.write_bytes(damage)
    clip = synth.clip("Set the brake.")
    assert isinstance(clip, Clip)
    assert not doubt(clip, "Set the brake.", 155)
    assert isinstance(read_wav(file), Clip)
    synth.close()


def test_the_cache_is_bounded_and_keeps_what_is_used(tmp_path: Path) -> None:
    """Promise: a tablet's disk does not fill with read-backs; the longest unused go first."""
    cache = Cache(tmp_path, bound_bytes=400_000)
    tone = Clip((np.arange(50_000) % 200 * 100).astype(np.int16), 22_050)
    for number in range(12):
        draft = cache.draft()
        write_wav(draft, tone)
        path = cache.path(f"text {number}", Manner(), "engine")
        cache.keep(draft, path)
        os.utime(path, (number, number))
    left = [number for number in range(12) if cache.path(f"text {number}", Manner(), "engine").exists()]
    assert sum(path.stat().st_size for path in tmp_path.glob("*.wav")) <= 400_000
    assert left
    assert left == list(range(left[0], 12))


def test_an_unusable_cache_folder_is_told_and_replaced(tmp_path: Path) -> None:
    """Promise: a read-only or misnamed folder costs time, not the voice."""
    (tmp_path / "file").write_text("in the way")
    cache = Cache(tmp_path / "file" / "cache")
    assert "writable folder" in cache.notice
    synth = Synth(cache, Manner())
    assert isinstance(synth.clip("Set the brake."), Clip)
    synth.close()
    cache.close()
    assert not cache.folder.exists()


@pytest.mark.parametrize(
    "text",
    [
        "-v nonsense",
        "--stdin",
        "; touch {0}",
        "$(touch {0})",
        "-w {0}",
        "| touch {0}",
        '","path":"{0}"',
        "/etc/passwd",
    ],
)
def test_text_is_never_a_flag_a_file_or_a_command(text: str, tmp_path: Path) -> None:
    """Hazard: a text from a procedure file must not steer the synthesiser or write files."""
    target = tmp_path / "written"
    synth = Synth(Cache(tmp_path / "c"), Manner())
    synth.clip("Check " + text.format(target))
    synth.clip(text.format(target))
    synth.close()
    assert not target.exists()


def test_a_library_of_the_same_name_in_the_working_folder_is_not_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: a file called wave.py in a yard's folder must not run inside the synthesiser."""
    for name in ("wave", "json", "pyttsx3"):
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'ran')!r}, 'w')\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(str(Path(sys.modules["assistant"].__file__ or "").parent.parent))
    synth = Synth(Cache(tmp_path / "c"), Manner())
    assert isinstance(synth.clip("Set the brake."), Clip)
    synth.close()
    assert not (tmp_path / "ran").exists()
