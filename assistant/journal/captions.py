"""Captions of a run (WebVTT, W3C) and its recordings joined into one, both on the run's own clock."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.errors import LogError
from assistant.journal.audio import FOLDER, SAMPLE_RATE, read_audio
from assistant.journal.lines import plain, with_words
from assistant.journal.reader import log_file
from assistant.journal.records import Heard, Spoke

_SHORTEST_MS = 500
"""A cue shorter than this cannot be read."""


@dataclass(frozen=True, slots=True)
class Cue:
    """One caption: when on the run's clock (ms), whose voice, and the text."""

    start: int
    end: int
    voice: str
    text: str
    audio: str = ""


def cues(path: Path) -> list[Cue]:
    """Return the captions of a run by start time: what was spoken to the driver and what was heard.

    A record is written when its sound is over, so a cue ends at the record's time.
    """
    found = []
    for entry, said in with_words(path):
        record = entry.record
        if isinstance(record, Spoke):
            text = " ".join(str(line.get("text", "")) for line in record.lines)
            found.append(_cue(entry.mono, record.took_ms, "assistant", text))
        elif isinstance(record, Heard):
            text = said.words if said and said.words else f"[{plain(record, None).partition(': ')[2]}]"
            found.append(_cue(entry.mono, record.end_ms - record.start_ms, record.who, text, record.audio))
    return list(_one_after_another(sorted(found, key=lambda cue: cue.start)))


def _one_after_another(found: list[Cue]) -> Iterator[Cue]:
    """Put off recordings that would overlap: a folder of them is heard faster than it was spoken."""
    at = 0
    for cue in found:
        if not cue.audio:
            yield cue
            continue
        late = max(0, at - cue.start)
        at = cue.end + late + 1  # lengths in whole milliseconds may be one short of the sound's samples
        yield replace(cue, start=cue.start + late, end=cue.end + late)


def _cue(mono: int, length: int, voice: str, text: str, audio: str = "") -> Cue:
    start = max(0, mono - max(length, 0))
    # A file heard faster than it lasts can be longer than the run is old: its end waits for its length.
    return Cue(start, max(mono, start + length, start + _SHORTEST_MS), voice, text, audio)


def webvtt(found: list[Cue]) -> str:
    """Return captions as a WebVTT file, one voice span a cue."""
    parts = ["WEBVTT\n"]
    for number, cue in enumerate(found, 1):
        text = " ".join(cue.text.split()) or "…"
        parts.append(f"{number}\n{_time(cue.start)} --> {_time(cue.end)}\n<v {_safe(cue.voice)}>{_safe(text)}</v>\n")
    return "\n".join(parts)


def _safe(text: str) -> str:
    """Escape what WebVTT would take for markup; "-->" cannot survive this."""
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _time(ms: int) -> str:
    seconds, ms = divmod(ms, 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}.{ms:03d}"


def join_audio(path: Path, out: Path) -> int:
    """Write a run's recordings into one FLAC file, silence between, and return how many there were.

    A pause longer than an hour cannot be told from a run taken up again next day; it is left at its
    length, as the captions have it. Raises `LogError` when a recording is missing or unreadable, when
    there are none, or when ``out`` cannot be written.
    """
    import soundfile  # noqa: PLC0415 - slow to load, and only this needs it

    found = [cue for cue in cues(path) if cue.audio]
    if not found:
        raise LogError(f"{path} has no recordings: they are kept only with consent (`hitchcall run --help`).")
    try:
        with soundfile.SoundFile(str(out), "w", SAMPLE_RATE, 1, "PCM_16", format="FLAC") as file:
            for block in _blocks(log_file(path).parent / FOLDER, found):
                file.write(block)
    except (OSError, soundfile.SoundFileError) as error:
        raise LogError(f"Cannot write {out}: look at the folder and the disk.") from error
    return len(found)


def _blocks(folder: Path, found: list[Cue]) -> Iterator[object]:
    """Yield sound and silence in order, a minute of silence at most at a time."""
    import numpy as np  # noqa: PLC0415 - as above

    at = 0
    for cue in found:
        gap = max(0, cue.start * SAMPLE_RATE // 1000 - at)
        at += gap
        while gap:
            block = min(gap, 60 * SAMPLE_RATE)
            yield np.zeros(block, np.int16)
            gap -= block
        samples = read_audio(folder / f"{cue.audio}.flac")
        yield samples
        at += len(samples)
