"""Runs for `benchmarks/fleet.py`: some hundred real ones by the automatic driver, then many made after them.

Making a run takes an eighth of a second, so 100,000 are made from a pool of distinct ones: each gets a run id,
a tablet's key, a call sign and times of its own, and its whole chain is hashed and signed anew. What verification
and reading have to do on it is what they have to do on the run it was made after, record for record. What is
not varied is what was said and decided. The short codes use a short stretch: making a real one takes longer
than everything else, and an intake never asks for one. Words beside the log are one file under two names.
"""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from random import Random

from assistant.journal import anchor
from assistant.journal.chain import canonical, genesis
from assistant.journal.clock import stamp, unstamp
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LOG, LogReader
from assistant.journal.words import FILE as WORDS
from assistant.practice.making import CALL_SIGNS, DAY_MS, START_WALL, make_runs

POOL = 400
TABLETS = 83
"""At four runs a day, what 100,000 runs in three hundred days come from."""
DAYS = 300
_SHORT_STRETCH = 2
_WORDS = re.compile(rb'"said":"[0-9a-f]*"')


@dataclass(frozen=True, slots=True)
class Piece:
    """A record of a pool's run: what stays of its line, and what is made anew."""

    kind: str
    data: bytes
    mono: int
    after_ms: int
    signed: bool


@dataclass(frozen=True, slots=True)
class Model:
    """A run of the pool, taken apart."""

    opened: dict[str, object]
    pieces: tuple[Piece, ...]
    words: Path


def pool(folder: Path, count: int = POOL) -> list[Model]:
    """Make the pool in ``folder``, or find it there."""
    anchor._WORK = _SHORT_STRETCH
    done = folder / "done"
    if not done.exists():
        shutil.rmtree(folder, ignore_errors=True)
        for _ in make_runs(folder / "runs", count, seed=7):
            pass
        done.touch()
    return [_model(run) for run in sorted((folder / "runs").iterdir())]


def _model(run: Path) -> Model:
    entries = list(LogReader(run))
    began = unstamp(entries[0].wall)
    pieces = tuple(
        Piece(one.kind, canonical(one.data), one.mono, unstamp(one.wall) - began, bool(one.signature))
        for one in entries
    )
    return Model(dict(entries[0].data), pieces, run / WORDS)


def make_stage(folder: Path, stage: int, size: int, models: list[Model], total: int) -> Iterator[Path]:
    """Make the runs of one stage in ``folder/<stage>`` and yield each; those that are there are passed over."""
    anchor._WORK = _SHORT_STRETCH
    keys = [tablet_key(folder / "keys" / f"{number:03d}") for number in range(TABLETS)]
    place = folder / f"{stage:03d}"
    place.mkdir(parents=True, exist_ok=True)
    for number in range(stage * size, (stage + 1) * size):
        chance = Random(number)  # noqa: S311 - chance for drivers, not for keys
        day = number * DAYS // total
        wall = START_WALL + day * DAY_MS + chance.randrange(16 * 3_600_000)
        name = f"{re.sub('[-:]', '', stamp(wall)[:19])}Z-{number:06x}"
        if not (place / name / LOG).exists():
            _make(place / name, models[number % len(models)], keys[number % TABLETS], wall, chance)
        yield place / name


def _make(run: Path, model: Model, key: TabletKey, wall: int, chance: Random) -> None:
    opened = {**model.opened, "run": run.name, "key": key.public, "call_sign": chance.choice(("", *CALL_SIGNS))}
    prev, lines = genesis(run.name), []
    for seq, piece in enumerate(model.pieces):
        data = piece.data
        if piece.kind == "opened":
            data = canonical(opened)
        elif piece.kind == "sealed":
            data = canonical({"code": anchor.code_of(prev, run.name), "of": seq - 1})
        line, prev = _line(piece, data, prev, seq, wall, key)
        lines.append(line)
    fresh = run.with_name(f".{run.name}")
    shutil.rmtree(fresh, ignore_errors=True)
    fresh.mkdir()
    (fresh / LOG).write_bytes(b"".join(lines))
    if model.words.exists():
        os.link(model.words, fresh / WORDS)
    fresh.rename(run)


def _line(piece: Piece, data: bytes, prev: str, seq: int, wall: int, key: TabletKey) -> tuple[bytes, str]:
    """Return a record's line, made as the journal makes it, and its hash."""
    front = b'{"data":' + data
    middle = f',"mono":{piece.mono},"prev":"{prev}","seq":{seq}'.encode()
    back = f',"type":"{piece.kind}","v":1,"wall":"{stamp(wall + piece.after_ms)}"}}'.encode()
    if piece.signed:
        signature = key.sign(sha256(front + middle + back).hexdigest())
        back = f',"sig":"{signature}"'.encode() + back
    digest = sha256(front + middle + back).hexdigest()
    return b"".join((front, b',"hash":"', digest.encode(), b'"', middle, back, b"\n")), digest


def long_log(folder: Path, model: Model, key: TabletKey, size: int) -> Path:
    """Make one log of at least ``size`` bytes: a run that goes on and on, its records told again and again."""
    log = folder / "long" / LOG
    if log.exists() and log.stat().st_size >= size:
        return log
    log.parent.mkdir(parents=True, exist_ok=True)
    opened = {**model.opened, "run": "long", "key": key.public}
    pieces = [one for one in model.pieces if one.kind in {"heard", "decided", "spoke"}]
    first = Piece("opened", canonical(opened), 0, 0, signed=True)
    prev, seq, written, mono = genesis("long"), 0, 0, 0
    with log.open("wb") as file:
        while written < size:
            for piece in (first,) if not seq else pieces:
                data = _WORDS.sub(b'"said":""', piece.data)  # no words lie beside it
                line, prev = _line(Piece(piece.kind, data, mono, mono, piece.signed), data, prev, seq, START_WALL, key)
                written += file.write(line)
                seq, mono = seq + 1, mono + 500
    return log
