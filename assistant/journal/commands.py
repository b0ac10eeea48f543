"""The commands `hitchcall log …`: looking at, checking and keeping the log of a run.

All faults are `HitchcallError`; the main command prints the sentence and sets the exit status.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import click

from assistant.commands.options import procedures_option
from assistant.errors import HitchcallError, InputError, LogError
from assistant.journal import keeping
from assistant.journal.captions import cues, join_audio, webvtt
from assistant.journal.export import export as export_run
from assistant.journal.fold import Redecide
from assistant.journal.fold import replay as replay_run
from assistant.journal.keys import PUBLIC, fingerprint, read_public, tablet_key
from assistant.journal.lines import plain, with_words
from assistant.journal.reader import log_file
from assistant.journal.records import TYPES, Opened
from assistant.journal.verify import State, verify
from assistant.prepare import library
from assistant.procedure.load import load_site
from assistant.procedure.model import Keep, Kept

redecide_factory: Callable[[Opened], Redecide] | None = None
"""Set by the main command: from the "opened" record to a function that folds one event (JSON, ms on the
run's clock) through the engine and returns its decision as JSON. A factory raises `HitchcallError` when
the procedure files are not the ones the run was made with."""


def state_folder() -> Path:
    """Return where this user's tablet keeps its key: XDG_STATE_HOME/hitchcall, or ~/.local/state/…."""
    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "hitchcall"


class UnfinishedError(HitchcallError):
    """The log is sound as far as it goes but has no end (exit status 1)."""


_run = click.argument("run", type=click.Path(path_type=Path, exists=True))
_json = click.option("--json", "as_json", is_flag=True, help="Print for a program: one JSON object a line.")
_keys = click.option(
    "--keys",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="HITCHCALL_KEYS",
    default=lambda: state_folder() / "keys",
    show_default="the tablet's own",
    help="Folder of the tablet's key.",
)


@click.group()
def log() -> None:
    """Look at, check and keep the log of a run.

    RUN is the folder of a run (its name is the time it began), or the file log.jsonl in it.
    """


@log.command()
@_run
@_json
@click.option("--type", "kinds", multiple=True, type=click.Choice(list(TYPES)), help="Only such records.")
def show(run: Path, as_json: bool, kinds: tuple[str, ...]) -> None:
    """Print a run's records in order, with the words that were said where they are still kept.

    Each line: record number, seconds since the run began, wall time (UTC), type, and what it says.
    """
    for entry, said in with_words(run):
        if kinds and entry.kind not in kinds:
            continue
        if as_json:
            row = {"seq": entry.seq, "wall": entry.wall, "mono": entry.mono, "type": entry.kind}
            row["data"] = entry.data
            row["words"] = said.words if said else None
            click.echo(json.dumps(row, ensure_ascii=False))
        else:
            told = plain(entry.record, said)
            click.echo(f"{entry.seq:5d} {entry.mono / 1000:9.1f} {entry.wall} {entry.kind:9s} {told}")


@log.command("verify")
@_run
@_json
@click.option(
    "--key",
    type=click.Path(path_type=Path, dir_okay=False),
    help=f"The tablet's public key ({PUBLIC}), brought here by another way than the log.",
)
@click.option("--code", default="", help="The code on the paperwork, 14 digits.")
def verify_command(run: Path, as_json: bool, key: Path | None, code: str) -> None:
    """Check that a log is whole, signed by the tablet, and the one whose code is on the paperwork.

    Names everything that was altered, removed, inserted, moved, doubled or cut off, with its line, and
    says what the check cannot show. Exit status 0: whole. 1: sound as far as it goes, but without an
    end. 4: it does not verify.
    """
    verdict = verify(run, public=read_public(key) if key else "", code=code)
    click.echo(verdict.as_json() if as_json else verdict.text(), nl=as_json)
    if verdict.state is State.UNFINISHED:
        raise UnfinishedError(f"{verdict.log} has no end: resume the run, or compare the code on paper.")
    if verdict.state is State.BROKEN:
        raise LogError(f"{verdict.log} does not verify: keep it as it is and ask for the tablet.")


@log.command("replay")
@_run
@_json
def replay_command(run: Path, as_json: bool) -> None:
    """Put everything that came to the engine through it again and compare its decisions byte for byte.

    Names the first record that differs (exit status 4).
    """
    if redecide_factory is None:
        raise HitchcallError("This command needs the whole program: use `hitchcall log replay`.")
    outcome = replay_run(run, redecide_factory)
    if as_json:
        told = {"same": outcome.same, "decisions": outcome.decisions, "line": outcome.line}
        click.echo(json.dumps(told | {"logged": outcome.logged, "again": outcome.again}, ensure_ascii=False))
    elif outcome.same:
        click.echo(f"{outcome.decisions} decisions, every one the same.")
    else:
        click.echo(f"In the log: {outcome.logged}\nAgain:      {outcome.again}")
    if not outcome.same:
        raise LogError(f"{log_file(run)}, line {outcome.line}: the engine decides something else now.")


@log.command()
@_run
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write (else printed).")
@click.option("--audio", type=click.Path(path_type=Path, dir_okay=False), help="Also join the recordings (FLAC).")
def captions(run: Path, out: Path | None, audio: Path | None) -> None:
    """Write what was spoken and heard as captions (WebVTT), on the same clock as the joined recordings.

    Give both files the same name and a media player shows the words under the sound.
    """
    text = webvtt(cues(run))
    if out is None:
        click.echo(text, nl=False)
    else:
        try:
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise InputError(f"Cannot write {out}: {error.strerror}.") from error
    if audio is not None:
        click.echo(f"{join_audio(run, audio)} recordings joined in {audio}.", err=True)


@log.command()
@_run
@click.argument("out", type=click.Path(path_type=Path, dir_okay=False))
def export(run: Path, out: Path) -> None:
    """Write a run's records as a table, one row a record, with the words where they are still kept.

    The ending of OUT chooses the format: .csv for a spreadsheet, .jsonl or .parquet for programs. The
    file holds what the driver said: keep it as carefully as the log.
    """
    click.echo(f"{export_run(run, out)} records written to {out}.")


@log.command("forget")
@_run
@_keys
@click.option("--reason", required=True, help="Why; it stands in the log.")
@click.option("--audio-only", is_flag=True, help="Keep the words, remove the recordings.")
def forget_command(run: Path, keys: Path, reason: str, audio_only: bool) -> None:
    """Remove the recordings and spoken words of a run for good; the rest still verifies.

    Done on the tablet that made the run. Write down the new code afterwards.
    """
    kinds = ("audio",) if audio_only else ("audio", "words")
    folder = log_file(run).parent
    done = keeping.forget(folder, tablet_key(keys), reason, kinds)
    click.echo(f"Forgotten: {done.audio_files} recordings, the words of {done.words} hearings.")
    click.echo(f"New code: {verify(folder).codes[-1]}")


@log.command()
@click.argument("logs", type=click.Path(path_type=Path, exists=True, file_okay=False))
@_keys
@_json
@click.option("--site", default="", help="Keep as this site's file says; without it, by the record rules.")
@procedures_option
@click.option(
    "--months",
    "months",
    multiple=True,
    type=(click.Choice(list(keeping.DEFAULTS)), click.IntRange(0, 1200)),
    help="Keep KIND for N months instead.",
)
@click.option("--apply", "remove", is_flag=True, help="Remove what is listed; without it nothing is removed.")
def keep(
    logs: Path,
    keys: Path,
    as_json: bool,
    site: str,
    own: Path | None,
    months: tuple[tuple[Kept, int], ...],
    remove: bool,
) -> None:
    """List what has outlived the time it must be kept, in the folder LOGS of all runs.

    The times come from the record rules, from a site's file (its tables [keep.audio], [keep.words] and
    [keep.log]) with --site, or from --months KIND N. Held runs are left alone (`hitchcall log hold`).
    """
    told = load_site(library(own), site).keep if site else {}
    told = told | {kind: Keep(months=count, source="said on the command line") for kind, count in months}
    found = list(keeping.due(logs, keeping.periods(told), datetime.now(UTC).date()))
    for item in found:
        row = {
            "run": str(item.folder),
            "kind": item.kind,
            "over": item.over.isoformat(),
            "source": item.source,
        }
        click.echo(json.dumps(row) if as_json else f"{row['run']}: {item.kind}, since {row['over']} ({item.source})")
    if remove:
        _remove(found, keys)


def _remove(found: list[keeping.Due], keys: Path) -> None:
    """Remove what is due; what cannot be is told once the rest is done."""
    whole = {item.folder for item in found if item.kind == "log"}
    faults = []
    for item in found:
        try:
            if item.kind == "log":
                keeping.discard(item.folder)
            elif item.folder not in whole:
                keeping.forget(item.folder, tablet_key(keys), f"kept long enough: {item.source}", (item.kind,))
        except LogError as error:
            faults.append(str(error))
    if faults:
        raise LogError(" ".join(faults))


@log.command("hold")
@_run
@click.option("--reason", default="", help="Why the run is kept whatever its age.")
@click.option("--let-go", is_flag=True, help="End the hold.")
def hold_command(run: Path, reason: str, let_go: bool) -> None:
    """Keep a run whatever its age, after an incident for instance; nothing of it can be forgotten."""
    folder = log_file(run).parent
    if let_go:
        keeping.let_go(folder)
    elif reason:
        keeping.hold(folder, reason)
    else:
        raise InputError("Say why the run is held with --reason, or end the hold with --let-go.")


@log.command("key")
@_keys
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="File for the public key.")
def key_command(keys: Path, out: Path | None) -> None:
    """Print the tablet's public key, which a trainer needs to check its logs on another machine.

    Take it there once by a way you trust and compare the sixteen digits of its name.
    """
    key = tablet_key(keys)
    text = key.public_pem()
    if out is not None:
        try:
            out.write_text(text, encoding="ascii")
        except OSError as error:
            raise InputError(f"Cannot write {out}: {error.strerror}.") from error
    else:
        sys.stdout.write(text)
    click.echo(f"Name: {fingerprint(key.public)}", err=True)
