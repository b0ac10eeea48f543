"""How long what is kept, and how it is forgotten.

Nothing is removed by itself: `due` lists what has outlived its time, and somebody decides. A run that
is held, after an incident for instance, is never due and cannot be forgotten until it is let go.
"""

from __future__ import annotations

import calendar
import shutil
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from assistant.errors import LogError
from assistant.journal import audio, words
from assistant.journal.clock import TwoClocks
from assistant.journal.disk import Disk, trouble
from assistant.journal.keys import TabletKey
from assistant.journal.reader import LOG, LogReader
from assistant.journal.records import Forgotten
from assistant.journal.resume import Resumer
from assistant.procedure.model import Keep, Kept

HOLD = "hold.txt"


@dataclass(frozen=True, slots=True)
class Period:
    """How long a kind of thing is kept after a run's last record; ``source`` says who asks for it."""

    months: int
    days: int
    source: str

    def over(self, since: date) -> date:
        """Return the first day on which it need not be kept any more."""
        month = since.month - 1 + self.months
        year, month = since.year + month // 12, month % 12 + 1
        day = min(since.day, calendar.monthrange(year, month)[1])
        return date(year, month, day) + timedelta(days=self.days)


DEFAULTS: Mapping[Kept, Period] = {
    "audio": Period(0, 30, "common practice, no source"),
    "words": Period(3, 0, "49 CFR 396.11(a)(4), driver vehicle inspection reports: three months"),
    "log": Period(
        14,
        0,
        "49 CFR 396.21(b), periodic inspection reports: fourteen months; covers 49 CFR 396.3(c), "
        "maintenance records: one year",
    ),
}
"""By kind: recordings, spoken words, and the log itself (which counts as the longest-kept report)."""


def periods(keep: Mapping[Kept, Keep]) -> dict[Kept, Period]:
    """Return the periods of a site: the defaults with what its file says (``[keep.KIND]``) put over them."""
    return {**DEFAULTS, **{kind: Period(told.months, told.days, told.source) for kind, told in keep.items()}}


@dataclass(frozen=True, slots=True)
class Due:
    """Something of a run that need not be kept any more since ``over``."""

    folder: Path
    kind: Kept
    over: date
    source: str


def due(logs: Path, kept: Mapping[Kept, Period], today: date) -> Iterator[Due]:
    """Yield what has outlived its time in a folder of runs. Held runs and broken logs are left alone.

    A log takes its run's folder with it, so it is due only when all that lies there is.
    """
    for path in sorted(logs.glob(f"*/{LOG}")):
        folder = path.parent
        if held(folder):
            continue
        try:
            since = _last_day(path)
        except LogError:
            continue
        over = {kind: kept[kind].over(since) for kind in _present(folder)}
        over["log"] = max(over.values())
        for kind, day in over.items():
            if day <= today:
                yield Due(folder, kind, day, kept[kind].source)


def _present(folder: Path) -> Iterator[Kept]:
    """Yield what there is of a run, the log last."""
    if any(audio.recordings(folder)):
        yield "audio"
    if (folder / words.FILE).exists():
        yield "words"
    yield "log"


def _last_day(path: Path) -> date:
    wall = ""
    for entry in LogReader(path):
        if entry.kind not in {"forgotten", "sealed"}:
            wall = entry.wall
    return datetime.fromisoformat(wall).astimezone(UTC).date()


def forget(
    folder: Path,
    key: TabletKey,
    reason: str,
    kinds: tuple[str, ...] = ("audio", "words"),
    *,
    clocks: TwoClocks | None = None,
    disk: Disk | None = None,
) -> Forgotten:
    """Remove the recordings and spoken words of a run, and say so in its log first.

    What stays verifies: every decision, phrase, reading and refusal. Goes through when done twice.
    Returns the record. Raises `LogError`: the run is held, in use, altered, another tablet's, or the
    files cannot be removed. On flash memory a removed file may lie in worn-out cells until those are
    used again; against that, only an encrypted disk helps.
    """
    disk = disk or Disk()
    if held(folder):
        raise LogError(f"The run in {folder} is held: let it go first (see {folder / HOLD}).")
    files = _files(folder, kinds)
    record = Forgotten(
        what=kinds,
        audio_files=sum(1 for path in files if path.suffix == ".flac"),
        words=sum(1 for _ in words.read_words(folder)) if "words" in kinds else 0,
        reason=reason,
    )
    writer, _ = Resumer(folder, key, clocks=clocks, disk=disk, after_end=True).writer()
    try:
        writer.append(record)
        writer.seal()
        _remove(folder, kinds)
        disk.sync_folder(folder)
    except OSError as error:
        raise trouble("remove the words and recordings in", folder, error) from error
    finally:
        writer.close()
    return record


def _files(folder: Path, kinds: tuple[str, ...]) -> list[Path]:
    found: list[Path] = []
    if "audio" in kinds:
        found.extend((folder / audio.FOLDER).glob("*"))
    if "words" in kinds:
        found.extend(path for path in (folder / words.FILE, *folder.glob("words.torn-*")) if path.exists())
    return found


def _remove(folder: Path, kinds: tuple[str, ...]) -> None:
    for path in _files(folder, kinds):
        path.unlink(missing_ok=True)
    if "audio" in kinds and (folder / audio.FOLDER).exists():
        (folder / audio.FOLDER).rmdir()


def discard(folder: Path) -> None:
    """Remove a whole run, log and all. Only for what `due` named; LogError when held or not a run."""
    if held(folder):
        raise LogError(f"The run in {folder} is held: let it go first (see {folder / HOLD}).")
    if not (folder / LOG).is_file() or folder.is_symlink():
        raise LogError(f"{folder} is no run of this program: nothing was removed.")
    try:
        shutil.rmtree(folder)
    except OSError as error:
        raise trouble("remove the run", folder, error) from error


def held(folder: Path) -> str:
    """Return why a run is held, "" when it is not."""
    try:
        return (folder / HOLD).read_text(encoding="utf-8").strip() or "no reason given"
    except FileNotFoundError:
        return ""
    except (OSError, ValueError):
        return "the reason cannot be read"


def hold(folder: Path, reason: str, disk: Disk | None = None) -> None:
    """Keep a run whatever its age, after an incident for instance."""
    if not (folder / LOG).is_file():
        raise LogError(f"{folder} is no run of this program.")
    try:
        (disk or Disk()).save(folder / HOLD, (reason + "\n").encode())
    except OSError as error:
        raise trouble("hold the run", folder, error) from error


def let_go(folder: Path) -> None:
    """End a hold."""
    try:
        (folder / HOLD).unlink(missing_ok=True)
    except OSError as error:
        raise trouble("let go the run", folder, error) from error
