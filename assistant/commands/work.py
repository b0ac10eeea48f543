"""A run seen through: its ears, voice and page opened, its end told. What ``hitchcall run`` hands its wishes to."""

from __future__ import annotations

import json
import signal
import threading
import time
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, NoReturn

import click

from assistant.commands.early import Early
from assistant.ears.base import Ears
from assistant.ears.control import Controls, PowerCut, PracticeClocks
from assistant.ears.probe import no_microphone
from assistant.ears.typed import TypedEars
from assistant.engine.events import Resumed
from assistant.engine.state import Kind, Phase
from assistant.errors import HitchcallError
from assistant.journal.records import Note
from assistant.journal.verify import State as Verified
from assistant.journal.verify import verify
from assistant.journal.writer import Writer
from assistant.late_ears import LateEars
from assistant.prepare import Prepared
from assistant.recorded_driver import RecordedDriver
from assistant.screen.board import Board
from assistant.screen.pads import PadsOnly
from assistant.session import Session, Shown
from assistant.voice.base import Voice
from assistant.voice.file_voice import FileVoice

if TYPE_CHECKING:
    from assistant.ears.choose import Opened


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


class Work:
    """Opens ears and voice for a run and sees it through."""

    def __init__(self, ready: Prepared, wishes: Wishes, early: Early, stack: ExitStack) -> None:
        self.ready = ready
        self.early = early
        early.notice = self.trouble
        self.wishes = wishes
        self.stack = stack
        self.session: Session | None = None
        self.session_state = ready.engine.initial()
        self.board: Board | None = Board() if wishes.page is not None else None
        self.clocks = PracticeClocks()  # of the run's log; only a practice run puts them forward
        self.typed: Ears | None = None  # ears that hold the lines after a power cut of the script's

    def tell(self, text: str) -> None:
        """Tell the user something that is no part of the talk."""
        if self.wishes.as_json:
            click.echo(json.dumps({"notice": text}, ensure_ascii=False))
        else:
            click.echo(text)

    def open_devices(self) -> None:
        """Wait for voice and microphone; raises before a log is begun when what was asked for is not there."""
        self.early.voice()
        trouble = self.early.microphone_trouble()
        if trouble and self.wishes.ears == "mic":
            raise no_microphone(trouble)

    def go(self, writer: Writer, resumed: Resumed | None) -> None:
        """Run to the end and tell how it ended; always says where the log is and whether it verifies."""
        self.stack.callback(writer.close)
        voice_opened = self.early.voice()
        voice = voice_opened.voice
        ears, notices = self.open_ears(voice if isinstance(voice, FileVoice) else None, writer.folder)
        self.stack.callback(ears.close)
        if isinstance(ears, TypedEars) and "practice" in writer.opened.notes:
            ears.controls = controls(writer, self.clocks, ears)
        both = self.with_page(ears, voice)
        for notice in (*voice_opened.notices, *notices):
            self.tell(notice)
        self.tell(f"Log: {writer.folder}")
        self.trouble(f"Code of the log's beginning, for the paperwork: {writer.code}")
        if self.wishes.keep_sound and not writer.opened.consent_audio:
            self.tell("This run was begun without agreement to keep sound, so none is kept.")
        self.session = session = Session(
            self.ready, writer, both, voice, self.show,
            keep_sound=writer.folder if writer.opened.consent_audio else None,
            headset=self.wishes.headset,
            said=(lambda _: None) if self.board is None else self.board.said,
            notice=self.trouble,
        )  # fmt: skip
        session.state = self.session_state
        signal.signal(signal.SIGTERM, _interrupt)
        threading.Thread(target=self._prompts, args=(voice, ears), name="prompts", daemon=True).start()
        began = time.monotonic()
        over = session.run(resumed)
        self._ending(session, writer, over, time.monotonic() - began)

    def _prompts(self, voice: Voice, ears: Ears) -> None:
        """Make the prompts ready while the first are spoken, after the ears, which are waited for."""
        if isinstance(ears, LateEars):
            ears.opened()
        failed = voice.prepare(list(dict.fromkeys(self.ready.wording.fixed())), self._progress)
        for text, why in failed.items():
            self.tell(f"Cannot be spoken, only shown: {text} ({why})")

    def with_page(self, ears: Ears, voice: Voice) -> Ears:
        """Serve the cab page when it was asked for; its pads then count beside the ears."""
        page = self.wishes.page
        if page is None or self.board is None:
            return ears
        from assistant.screen.attach import attach, font_trouble, has_display, open_page  # noqa: PLC0415 - loads the web server

        screen, both = attach(
            self.board, ears, voice,
            lang=self.ready.plan.lang, port=page.port, dpi=page.dpi, headset=self.wishes.headset,
        )  # fmt: skip
        self.stack.callback(screen.close)
        self.tell(f"Screen: {screen.address}")
        if trouble := font_trouble(self.ready.plan.lang):
            self.tell(trouble)
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
        if self.typed is not None:
            return self.typed, ()
        if wishes.ears == "pads":
            return PadsOnly(), ("Ears: the pads of the cab page only, as asked.",)
        trouble = self.early.microphone_trouble()
        if wishes.ears in {"auto", "mic"} and not trouble:
            return LateEars(self._open_microphone, self.tell), ()
        from assistant.ears.choose import open_ears, open_pair  # noqa: PLC0415 - loads the recognisers' libraries

        if wishes.ears != "recorded":
            opened = open_ears(
                wishes.ears, self.ready.book, vosk_model=wishes.vosk_model, trouble_with=lambda _: trouble
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

    def _open_microphone(self) -> Opened:
        from assistant.ears.choose import open_ears  # noqa: PLC0415 - as above

        wishes = self.wishes
        return open_ears(
            "mic", self.ready.book, vosk_model=wishes.vosk_model, device=wishes.microphone, trouble_with=lambda _: ""
        )

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


def controls(writer: Writer, clocks: PracticeClocks, ears: TypedEars) -> Controls:
    """Return what the control lines of a practice run do: put its clock forward, which the log notes, or cut it off."""

    def forward(milliseconds: int) -> None:
        clocks.forward(milliseconds)
        writer.append(Note(text=f"practice: the clock was put forward by {milliseconds / 1000:g} s"))

    def cut(changed: bool) -> NoReturn:
        raise PowerCut(writer.folder, clocks, ears, changed=changed)

    return Controls(forward, cut)


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
