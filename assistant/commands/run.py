"""``hitchcall run``: a session."""

from __future__ import annotations

import json
import secrets
import signal
import time
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import FrameType

import click

from assistant import __version__
from assistant.commands.options import json_option, prepared, setting_options
from assistant.ears.base import Ears
from assistant.ears.choose import open_ears, open_pair
from assistant.ears.typed import TypedEars
from assistant.engine.events import Resumed
from assistant.engine.state import Kind, Phase
from assistant.errors import HitchcallError, InputError
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.records import Opened
from assistant.journal.resume import Resumer
from assistant.journal.verify import State as Verified
from assistant.journal.verify import verify
from assistant.journal.writer import Writer
from assistant.places import cache_folder, keys_folder, logs_folder
from assistant.prepare import Prepared
from assistant.proof.library import proven
from assistant.recorded_driver import RecordedDriver
from assistant.resume import changed_files, fold
from assistant.screen.attach import attach, has_display, open_page
from assistant.screen.board import Board
from assistant.screen.pads import PadsOnly
from assistant.session import Session, Shown
from assistant.voice.base import Hooks, Voice
from assistant.voice.choose import open_voice
from assistant.voice.file_voice import FileVoice


class LeftOpenError(HitchcallError):
    """The answers ended before the run did; it can be resumed (exit status 6)."""

    exit_status = 6


class NotDoneError(HitchcallError):
    """The run ended safely, but not with what it set out to do (exit status 5)."""

    exit_status = 5


@dataclass(frozen=True)
class PageWish:
    """How the cab page is to be served; ``port`` 0 is any free one, ``dpi`` None lets the page guess."""

    port: int
    dpi: float | None
    open: bool


@dataclass(frozen=True)
class Wishes:
    """What the user asked for."""

    ears: str
    voice: str
    logs: Path
    vosk_model: Path | None
    microphone: str
    speaker: str
    keep_sound: bool
    keep_words: bool
    as_json: bool
    headset: bool = False
    page: PageWish | None = None
    practice: bool = False


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
@click.option("--keep-sound", is_flag=True, help="Everyone agreed that their voices are kept with the log.")
@click.option("--forget-words", is_flag=True, help="Keep no words beside the log, only what they came to.")
@json_option
def run(
    procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None, ears: str, voice: str,
    logs: Path | None, resume: Path | None, vosk_model: Path | None, microphone: str, speaker: str,
    keep_sound: bool, forget_words: bool, as_json: bool, headset: bool, screen: bool, open_browser: bool,
    port: int, tablet_dpi: float | None, practice: bool,
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
        go_on(resume, wishes, key, own)
        return
    ready = prepared(procedure, rig, site, crew, lang, own)
    notes = require_proof(ready, practice=practice)
    begin(ready, wishes, key, notes)


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


def begin(ready: Prepared, wishes: Wishes, key: TabletKey, notes: tuple[str, ...] = ()) -> None:
    """Begin a run; ``notes`` is what a reader of the log must know first."""
    with ExitStack() as stack:
        work = Work(ready, wishes, stack)
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
        )
        writer = Writer.begin(wishes.logs, opened, key)
        work.go(writer, None)


def go_on(folder: Path, wishes: Wishes, key: TabletKey, own: Path | None) -> None:
    """Go on with a run that was cut off."""
    if not folder.is_dir() and (wishes.logs / folder.name).is_dir():
        folder = wishes.logs / folder.name
    if not folder.is_dir():
        raise InputError(f"There is no run {folder}; name the folder of the run.")
    resumer = Resumer(folder, key)
    with ExitStack() as stack:
        was = resumer.found.opened
        if resumer.found.ended:
            click.echo(f"The run had ended; its end is sealed now. Code: {resumer.seal_end()}")
            return
        stack.callback(resumer.close)
        crew = next((note.removeprefix("crew: ") for note in was.notes if note.startswith("crew: ")), "alone")
        ready = prepared(was.procedure, was.rig, was.site, crew, was.lang, own)
        changed = changed_files(ready, resumer.found.files)
        folded = fold(ready, folder) if not changed else None
        restarted = folded is None or not folded.same
        if restarted:
            require_proof(ready, practice=wishes.practice or "practice" in was.notes)
        state = ready.engine.initial() if folded is None or restarted else folded.state
        preview = ready.engine.decide(state, Resumed(restarted), 0).state
        work = Work(ready, wishes, stack)
        stack.pop_all()  # from here on the writer owns the file
        writer = resumer.go_on(
            program=__version__,
            decayed=tuple(ready.plan.fact_names[stale.fact] for stale in preview.stale),
            changed=changed,
            restarted=restarted,
            files=ready.hashes,
        )
        work.session_state = state
        work.go(writer, Resumed(restarted))


class Work:
    """Opens ears and voice for a run and sees it through."""

    def __init__(self, ready: Prepared, wishes: Wishes, stack: ExitStack) -> None:
        self.ready = ready
        self.wishes = wishes
        self.stack = stack
        self.session: Session | None = None
        self.session_state = ready.engine.initial()
        self.board: Board | None = Board() if wishes.page is not None else None

    def tell(self, text: str) -> None:
        """Tell the user something that is no part of the talk."""
        if self.wishes.as_json:
            click.echo(json.dumps({"notice": text}, ensure_ascii=False))
        else:
            click.echo(text)

    def go(self, writer: Writer, resumed: Resumed | None) -> None:
        """Run to the end and tell how it ended; always says where the log is and whether it verifies."""
        self.stack.callback(writer.close)
        voice_opened = open_voice(
            self.wishes.voice, self.ready.plan.lang, cache_folder() / "voice",
            hooks=Hooks(notice=self.trouble), device=self.wishes.speaker,
        )  # fmt: skip
        voice = voice_opened.voice
        self.stack.callback(voice.close)
        ears, notices = self.open_ears(voice if isinstance(voice, FileVoice) else None, writer.folder)
        self.stack.callback(ears.close)
        ears = self.with_page(ears, voice)
        for notice in (*voice_opened.notices, *notices):
            self.tell(notice)
        self.tell(f"Log: {writer.folder}")
        self.trouble(f"Code of the log's beginning, for the paperwork: {writer.code}")
        if self.wishes.keep_sound and not writer.opened.consent_audio:
            self.tell("This run was begun without agreement to keep sound, so none is kept.")
        failed = voice.prepare(sorted(set(self.ready.wording.fixed())), self._progress)
        for text, why in failed.items():
            self.tell(f"Cannot be spoken, only shown: {text} ({why})")
        session = Session(
            self.ready, writer, ears, voice, self.show,
            patient=getattr(ears, "patient", self.wishes.ears in {"mic", "auto"}),
            keep_sound=writer.folder if writer.opened.consent_audio else None,
            headset=self.wishes.headset,
            notice=self.trouble,
        )  # fmt: skip
        if self.board is not None:
            session.said = self.board.said
        session.state = self.session_state
        self.session = session
        signal.signal(signal.SIGTERM, _interrupt)
        began = time.monotonic()
        over = session.run(resumed)
        self._ending(session, writer, over, time.monotonic() - began)

    def with_page(self, ears: Ears, voice: Voice) -> Ears:
        """Serve the cab page when it was asked for; its pads then count beside the ears."""
        page = self.wishes.page
        if page is None or self.board is None:
            return ears
        screen, both = attach(
            self.board, ears, voice,
            lang=self.ready.plan.lang, port=page.port, dpi=page.dpi, headset=self.wishes.headset,
        )  # fmt: skip
        self.stack.callback(screen.close)
        self.tell(f"Screen: {screen.address}")
        if page.open and has_display():
            leads = open_page(screen.address)
            self.stack.callback(leads.unlink, missing_ok=True)
        elif page.open:
            self.tell("There is no display here; open that address on this machine.")
        return both

    def trouble(self, text: str) -> None:
        """Tell what the voice reports, here and on the page; called on the voice's thread."""
        self.tell(text)
        if self.board is not None:
            self.board.notice(text)

    def open_ears(self, written: FileVoice | None, folder: Path) -> tuple[Ears, tuple[str, ...]]:
        """Open the ears asked for."""
        wishes = self.wishes
        if wishes.ears == "pads":
            return PadsOnly(), ("Ears: the pads of the cab page only, as asked.",)
        if wishes.ears != "recorded":
            opened = open_ears(
                wishes.ears, self.ready.book, vosk_model=wishes.vosk_model, device=wishes.microphone
            )
            nobody_types = isinstance(opened.ears, TypedEars) and not opened.ears.patient
            if wishes.ears == "auto" and wishes.page is not None and nobody_types:
                return PadsOnly(), (*opened.notices, "Nobody can type here: only the pads of the cab page answer.")
            return opened.ears, opened.notices
        pair = open_pair(self.ready.book, vosk_model=wishes.vosk_model)
        driver = RecordedDriver(
            self.ready,
            pair.pair,
            folder / "driver",
            lambda: self.session.state if self.session else self.session_state,
            heard=written.heard if written is not None else lambda _clip, _words: None,
        )
        said = "Ears: a recorded driver; its answers are synthesised on the spot and really recognised."
        return driver, (said, *pair.notices)

    def show(self, shown: Shown) -> None:
        """Put what was heard, decided and said on the page, and print it."""
        if self.board is not None:
            self.board.show(shown)
        if self.wishes.as_json:
            click.echo(json.dumps(_as_json(shown), ensure_ascii=False))
            return
        if shown.hearing is not None:
            came = shown.hearing.phrase or (shown.hearing.unheard or "a reading")
            click.echo(f"  heard   {shown.hearing.words or '(no words)'}  [{came}]")
        if shown.decision.kind is Kind.REFUSED:
            click.echo(f"  REFUSED {shown.decision.rule or shown.decision.reason}")
        for sentence in shown.sentences:
            click.echo(f"  says    {sentence.text}")

    def _progress(self, done: int, of: int) -> None:
        if not self.wishes.as_json and (done == of or done % 25 == 0):
            click.echo(f"  making the prompts ready: {done} of {of}", err=True)

    def _ending(self, session: Session, writer: Writer, over: bool, seconds: float) -> None:
        if not over:
            writer.close()
            raise LeftOpenError(
                f"The answers ended before the run did; go on with: hitchcall run --resume {writer.folder}"
            )
        verdict = verify(writer.folder)
        self.tell(f"The run took {seconds:.0f} s. Log: {writer.folder}")
        self.tell(f"Code of the log's end, for the paperwork: {verdict.codes[-1]}")
        if self.board is not None:
            self.board.end(f"The session has ended. Code for the paperwork: {verdict.codes[-1]}")
        self.tell("The log verifies." if verdict.state is Verified.WHOLE else verdict.text())
        outcome = session.state.outcome.value
        if session.state.phase is Phase.OVER and outcome != "done":
            raise NotDoneError(f"The run ended without being done: {outcome}.")


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _as_json(shown: Shown) -> dict[str, object]:
    hearing = shown.hearing
    return {
        "step": shown.prepared.plan.steps[shown.state.step].id,
        "phase": shown.state.phase.value,
        "kind": shown.decision.kind.value,
        "reason": shown.decision.reason,
        "rule": shown.decision.rule,
        "heard": None
        if hearing is None
        else {"words": hearing.words, "phrase": hearing.phrase, "engine": hearing.engine},
        "says": [sentence.text for sentence in shown.sentences],
    }
