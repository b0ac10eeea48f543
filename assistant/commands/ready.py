"""``hitchcall ready``: the check at the start of a shift."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from queue import Empty

import click
import numpy as np

from assistant.commands.options import json_option, lang_option, procedures_option
from assistant.ears.audio import frame_levels, read_wav
from assistant.ears.choose import open_pair
from assistant.ears.mic_child import run as feed_microphone
from assistant.ears.utterances import Utterance
from assistant.errors import DeviceError, HitchcallError, LogError
from assistant.journal.keys import fingerprint, tablet_key
from assistant.phrases.book import load_book
from assistant.places import cache_folder, keys_folder, logs_folder
from assistant.prepare import grammars
from assistant.voice.choose import open_voice
from assistant.voice.other_voices import other_voices, say_with
from assistant.voice.sink import SpeakerSink

LISTEN_S = 1.5
OPEN_S = 6.0
LEAST_FREE_MB = 200
QUIET_DB = -75.0  # a live microphone's own noise lies above this (from memory)


@dataclass(frozen=True)
class Finding:
    """One check: what it is of, whether it is in order, and one sentence."""

    what: str
    good: bool
    told: str


def microphone(device: str) -> Finding:
    """Open the microphone in its own process and measure for a moment."""
    context = multiprocessing.get_context("spawn")
    out = context.Queue(400)
    child = context.Process(target=feed_microphone, args=(device, out), daemon=True)
    child.start()
    name, levels, until = "", [], time.monotonic() + OPEN_S
    try:
        while time.monotonic() < until:
            try:
                kind, body = out.get(timeout=0.2)
            except Empty:
                continue
            if kind == "failed":
                return Finding("microphone", False, f"No microphone: {body}. Plug one in.")
            if kind == "open":
                name, until = body[0], time.monotonic() + LISTEN_S
            if kind == "sound":
                levels.append(float(frame_levels(np.frombuffer(body, np.int16)).max()))
    finally:
        child.terminate()
        child.join(2.0)
    if not levels:
        return Finding("microphone", False, "No sound comes from a microphone; check its plug.")
    loudest = max(levels)
    if loudest < QUIET_DB:
        return Finding("microphone", False, f"{name} gives silence; check that it is switched on.")
    return Finding("microphone", True, f"{name}, loudest {loudest:.0f} dB of full scale just now.")


def loudspeaker(device: str) -> Finding:
    """Open the loudspeaker."""
    sink = SpeakerSink(device)
    try:
        sink.open()
    except DeviceError as error:
        return Finding("loudspeaker", False, str(error))
    finally:
        sink.close()
    return Finding("loudspeaker", True, f"{sink.name}.")


def voice(lang: str) -> Finding:
    """Synthesise a word of trial."""
    with tempfile.TemporaryDirectory(prefix="hitchcall-ready-") as folder:
        try:
            open_voice(f"file:{folder}", lang, cache_folder() / "voice").voice.close()
        except DeviceError as error:
            return Finding("voice", False, str(error))
    return Finding("voice", True, "Prompts can be spoken.")


def recognisers(lang: str, own: Path | None) -> Finding:
    """Load the recognisers and have them hear a phrase said by another voice, if there is one."""
    book = load_book(grammars(own), lang)
    opened = open_pair(book)
    told = " ".join(opened.notices)
    try:
        voices = other_voices(lang)
        if not voices:
            return Finding("recognisers", True, f"{told} Not tried out: no second voice is installed.")
        live = book.live(["say-again", "stand-by", "where-are-we"])
        with tempfile.TemporaryDirectory(prefix="hitchcall-ready-") as folder:
            path = Path(folder) / "trial.wav"
            say_with(voices[0], book.says("where-are-we")[0], path)
            samples = read_wav(path)
        heard = opened.pair.hear(Utterance(samples, 0.0, len(samples) / 16_000), live)
        good = heard.phrase == "where-are-we"
        tried = "A trial phrase was understood." if good else f"A trial phrase was heard as {heard.words!r}."
        return Finding("recognisers", good, f"{told} {tried}")
    finally:
        opened.pair.close()


def log_folder(folder: Path) -> Finding:
    """Write and sync a file where the logs go, and look at the room there is."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=folder) as trial:
            trial.write(b"trial")
            trial.flush()
            os.fsync(trial.fileno())
        free = shutil.disk_usage(folder).free // 1_000_000
    except OSError as error:
        return Finding("log", False, f"Nothing can be written to {folder} ({error.strerror}).")
    if free < LEAST_FREE_MB:
        return Finding("log", False, f"Only {free} MB are free at {folder}; make room.")
    return Finding("log", True, f"{folder}, {free} MB free.")


def key() -> Finding:
    """Read the tablet's key, or make it."""
    try:
        return Finding("key", True, f"Tablet key {fingerprint(tablet_key(keys_folder()).public)}.")
    except LogError as error:
        return Finding("key", False, str(error))


@click.command()
@procedures_option
@lang_option
@click.option("--logs", type=click.Path(path_type=Path, file_okay=False), help="Folder of the logs.")
@click.option("--microphone", "mic", default="", help="Part of the microphone's name.")
@click.option("--speaker", default="", help="Part of the loudspeaker's name.")
@click.option("--sound", is_flag=True, help="Only look whether there is a microphone and a loudspeaker.")
@json_option
def ready(
    own: Path | None, lang: str, logs: Path | None, mic: str, speaker: str, sound: bool, as_json: bool
) -> None:
    """Check at the start of a shift: microphone, loudspeaker, recognisers, voice, log, disk and key.

    Says in one sentence each how it stands. Exit status 3 if anything is not in order.
    """
    checks: Iterator[Callable[[], Finding]] = iter(
        [lambda: microphone(mic), lambda: loudspeaker(speaker)]
        + ([] if sound else [
            lambda: recognisers(lang, own),
            lambda: voice(lang),
            lambda: log_folder(logs or logs_folder()),
            key,
        ])
    )  # fmt: skip
    bad = []
    for check in checks:
        found = check()
        bad += [] if found.good else [found.what]
        if as_json:
            click.echo(json.dumps({"what": found.what, "good": found.good, "told": found.told}, ensure_ascii=False))
        else:
            click.echo(f"{'in order' if found.good else 'NOT IN ORDER':12s}  {found.what}: {found.told}")
    if bad:
        raise NotReadyError(f"Not in order: {', '.join(bad)}. See to it first, or work by pad or typed lines.")


class NotReadyError(HitchcallError):
    """Something the shift needs is not in order (exit status 3)."""

    exit_status = 3
