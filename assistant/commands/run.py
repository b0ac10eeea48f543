"""``hitchcall run``: a session."""

from __future__ import annotations

import secrets
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import click

from assistant import __version__
from assistant.commands.early import Early
from assistant.commands.options import call_sign_option, json_option, prepared, setting_options
from assistant.commands.work import PageWish, Wishes, Work
from assistant.ears.control import PowerCut, PracticeClocks
from assistant.engine.events import Resumed
from assistant.errors import InputError
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.records import Opened
from assistant.journal.resume import Resumer
from assistant.journal.writer import Writer
from assistant.places import cache_folder, keys_folder, logs_folder
from assistant.prepare import Prepared
from assistant.proof.library import proven
from assistant.resume import begun_anew, changed_files, fold


@click.command()
@click.argument("procedure", default="couple")
@setting_options
@click.option(
    "--ears", default="auto", show_default=True,
    help="How to hear: auto, mic, typed, pads (the cab page alone), wav:FOLDER (files in name order), "
    "or recorded (a synthetic driver).",
)  # fmt: skip
@click.option(
    "--voice", default="auto", show_default=True,
    help="How to speak: auto, speaker, file:FOLDER (each line a WAV file), or none.",
)  # fmt: skip
@click.option("--logs", type=click.Path(path_type=Path, file_okay=False), help="Folder of the logs.")
@click.option("--resume", type=click.Path(path_type=Path), help="Go on with this run (its folder).")
@click.option(
    "--vosk-model", type=click.Path(path_type=Path, exists=True, file_okay=False), envvar="HITCHCALL_VOSK_MODEL",
    help="A Vosk model's folder.",
)  # fmt: skip
@click.option("--microphone", default="", help="Part of the microphone's name.")
@click.option("--speaker", default="", help="Part of the loudspeaker's name.")
@click.option("--headset", is_flag=True, help="The microphone cannot hear the loudspeaker: speech may cut in.")
@click.option("--screen", is_flag=True, help="Serve the cab page on this machine and print its address.")
@click.option("--open", "open_browser", is_flag=True, help="As --screen, and open the page where there is a display.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the cab page; 0 is any free one.")
@click.option(
    "--tablet-dpi", type=click.FloatRange(60, 800), envvar="HITCHCALL_TABLET_DPI",
    help="Pixels an inch of the tablet's screen, so that pads have their size in millimetres.",
)  # fmt: skip
@click.option("--practice", is_flag=True, help="A trainer's practice run; the log says so.")
@call_sign_option
@click.option("--keep-sound", is_flag=True, help="Everyone agreed that their voices are kept with the log.")
@click.option("--forget-words", is_flag=True, help="Keep no words beside the log, only what they came to.")
@json_option
def run(
    procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None, ears: str, voice: str,
    logs: Path | None, resume: Path | None, vosk_model: Path | None, microphone: str, speaker: str,
    keep_sound: bool, forget_words: bool, as_json: bool, headset: bool, screen: bool, open_browser: bool,
    port: int, tablet_dpi: float | None, practice: bool, call_sign: str,
) -> None:  # fmt: skip
    """Guide a driver through PROCEDURE by voice, and keep the log.

    Hitchcall only advises: training, local rules and the equipment's own manual come first. Say
    "stop" at any time. Exit status: 0 done; 5 ended safely without being done; 6 the answers ended
    first (go on with --resume); 2 something named on the command line cannot be used; 3 a device;
    4 the log.
    """
    page = PageWish(port, tablet_dpi, open_browser) if screen or open_browser or ears == "pads" else None
    wishes = Wishes(
        ears, voice, logs or logs_folder(), vosk_model, microphone, speaker, keep_sound, not forget_words, as_json,
        headset, page, practice,
    )  # fmt: skip
    key = tablet_key(keys_folder())
    if resume is not None:
        if call_sign:
            raise InputError("A call sign is chosen when a run begins: leave --call-sign out when it goes on.")
        see_through(partial(go_on, resume, wishes, key, own), wishes, key, own)
        return

    def anew() -> None:
        with ExitStack() as stack:
            early = Early(wishes, lang, stack)
            ready = prepared(procedure, rig, site, crew, lang, own)
            notes = require_proof(ready, practice=practice)
            begin(Work(ready, wishes, early, stack), key, notes, call_sign)

    see_through(anew, wishes, key, own)


def see_through(run: Callable[[], None], wishes: Wishes, key: TabletKey, own: Path | None) -> None:
    """See a run through; after each power cut of a practice script go on with its log, as a driver would."""
    while True:
        try:
            return run()
        except PowerCut as cut:
            run = partial(go_on, cut.folder, wishes, key, own, cut)


def require_proof(ready: Prepared, *, practice: bool) -> tuple[str, ...]:
    """Refuse a procedure that does not prove, unless for practice; return what the log must say of it.

    The proof is kept by the hashes of files and program, so it takes its seconds only once.
    """
    click.echo("Making sure that no order of words is unsafe (takes some seconds the first time) ...", err=True)
    faults = proven(ready.files, ready.plan, cache_folder() / "proofs")
    if not faults:
        return ("practice",) if practice else ()
    told = "\n".join(map(str, faults))
    if not practice:
        raise InputError(
            f"{ready.plan.procedure} does not prove for this rig and site, so it is not run; `hitchcall prove "
            f"{ready.plan.procedure}` shows how it goes wrong, and --practice runs it for training only.\n{told}"
        )
    click.echo(f"PRACTICE ONLY: this procedure does not prove.\n{told}", err=True)
    return ("practice", f"not proven: {len(faults)} faults")


def begin(work: Work, key: TabletKey, notes: tuple[str, ...] = (), call_sign: str = "") -> None:
    """Begin a run; ``notes`` is what a reader of the log must know first."""
    ready, wishes = work.ready, work.wishes
    work.open_devices()
    name = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ-") + secrets.token_hex(3)
    opened = Opened(
        run=name,
        program=__version__,
        procedure=ready.plan.procedure,
        rig=ready.plan.rig,
        site=ready.plan.site,
        lang=ready.plan.lang,
        ears=wishes.ears,
        voice=wishes.voice,
        files=ready.hashes,
        consent_audio=wishes.keep_sound,
        consent_words=wishes.keep_words,
        key=key.public,
        notes=(f"crew: {ready.plan.crew}", *notes),
        call_sign=call_sign,
    )
    work.go(Writer.begin(wishes.logs, opened, key, clocks=work.clocks), None)


def go_on(folder: Path, wishes: Wishes, key: TabletKey, own: Path | None, cut: PowerCut | None = None) -> None:
    """Go on with a run that was cut off; ``cut`` is the power cut of a practice script, if it was one."""
    if not folder.is_dir() and (wishes.logs / folder.name).is_dir():
        folder = wishes.logs / folder.name
    if not folder.is_dir():
        raise InputError(f"There is no run {folder}; name the folder of the run.")
    clocks = PracticeClocks() if cut is None else cut.clocks
    resumer = Resumer(folder, key, clocks=clocks)
    with ExitStack() as stack, ExitStack() as log:
        was = resumer.found.opened
        if resumer.found.ended:
            click.echo(f"The run had ended; its end is sealed now. Code: {resumer.seal_end()}")
            return
        log.callback(resumer.close)
        early = Early(wishes, was.lang, stack)
        crew = next((note.removeprefix("crew: ") for note in was.notes if note.startswith("crew: ")), "alone")
        ready = prepared(was.procedure, was.rig, was.site, crew, was.lang, own)
        changed = changed_files(ready, resumer.found.files)
        if cut is not None and cut.changed:
            changed = changed or ("as the practice script says",)
        folded = fold(ready, folder) if not changed else None
        restarted = folded is None or not folded.same
        if restarted:
            require_proof(ready, practice=wishes.practice or "practice" in was.notes)
        state = begun_anew(ready.engine, resumer.found.inputs) if folded is None or restarted else folded.state
        preview = ready.engine.decide(state, Resumed(restarted), 0).state
        work = Work(ready, wishes, early, stack)
        work.clocks, work.typed = clocks, None if cut is None else cut.ears
        work.open_devices()
        log.pop_all()  # from here on the writer owns the file
        writer = resumer.go_on(
            program=__version__,
            decayed=tuple(ready.plan.fact_names[stale.fact] for stale in preview.stale),
            changed=changed,
            restarted=restarted,
            files=ready.hashes,
        )
        work.session_state = state
        work.go(writer, Resumed(restarted))
