"""``hitchcall practise``: the classroom yard, guided by the assistant or with the assistant switched off."""

from __future__ import annotations

import json
import secrets
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import NoReturn

import click

from assistant import __version__
from assistant.commands.options import call_sign_option, json_option, prepared, setting_options
from assistant.ears.choose import open_ears
from assistant.ears.control import Controls, PracticeClocks
from assistant.ears.typed import TypedEars
from assistant.engine.state import Kind, Phase
from assistant.errors import InputError
from assistant.journal.keys import tablet_key
from assistant.journal.records import Closed, Note, Opened
from assistant.journal.writer import Writer
from assistant.places import cache_folder, keys_folder, logs_folder
from assistant.practice.classroom import Classroom, YardEars, alone
from assistant.practice.crew import Crew
from assistant.practice.drawing import drawing
from assistant.practice.faults import FAULTS, drawn, fitting, seeded
from assistant.practice.in_words import broken_in_words, score_in_words, signs_in_words
from assistant.practice.score import Score
from assistant.practice.starts import fit_of, start
from assistant.practice.truth import Truth
from assistant.practice.words import YardWords, yard_words
from assistant.prepare import Prepared
from assistant.session import Session, Shown
from assistant.voice.choose import open_voice

LIST = "list"


@click.command()
@click.argument("procedure", default="couple")
@setting_options
@click.option("--fault", "faults", multiple=True, help='A fault to put in, again for more; "list" names them all.')
@click.option(
    "--difficulty", type=click.IntRange(0, 3), default=0, show_default=True,
    help="Draw faults by chance: 1 one that is plain to see, 2 one or two, 3 two of any kind.",
)  # fmt: skip
@click.option("--seed", type=int, help="Draw the same faults again.")
@click.option("--unguided", is_flag=True, help="The assistant is switched off: what is done happens, and is told.")
@click.option("--ears", default="typed", show_default=True, help="How to hear: typed, auto, mic or wav:FOLDER.")
@click.option("--voice", default="none", show_default=True, help="How to speak: none, auto, speaker or file:FOLDER.")
@click.option("--logs", type=click.Path(path_type=Path, file_okay=False), help="Folder of the logs.")
@click.option(
    "--drawing", "picture", type=click.Path(path_type=Path, dir_okay=False),
    help="An SVG file that shows the rig from the side, drawn anew whenever it changes.",
)  # fmt: skip
@call_sign_option
@json_option
def practise(
    procedure: str, rig: str, site: str, crew: str, lang: str, own: Path | None, faults: tuple[str, ...],
    difficulty: int, seed: int | None, unguided: bool, ears: str, voice: str, logs: Path | None,
    picture: Path | None, call_sign: str, as_json: bool,
) -> None:  # fmt: skip
    """Practise PROCEDURE in the classroom yard: look, act and answer, and find what is wrong.

    Say or type "do it" to do what is asked, "look at the jaw" and the like to look, "take the reading"
    to read a gauge, then answer as in the cab. A simulation knows what is so; at the end it is told
    what was believed rightly, wrongly, or without looking. Exit status 0 however well it went.
    """
    ready = prepared(procedure, rig, site, crew, lang, own)
    fit = fit_of(ready.files, crew)
    if LIST in faults:
        _list(ready, lang, as_json=as_json)
        return
    for name in faults:
        if name in FAULTS and not FAULTS[name].applies(procedure, fit):
            fits = ", ".join(fault.id for fault in fitting(procedure, fit))
            raise InputError(f"The fault {name} means nothing in {procedure} with this rig and crew; there is: {fits}.")
    seed = secrets.randbelow(1_000_000) if seed is None else seed
    have = (*faults, *drawn(procedure, fit, difficulty, Random(seed)))  # noqa: S311 - a draw for a classroom
    have = tuple(dict.fromkeys(have))
    truth = seeded(start(procedure, fit), have)
    with ExitStack() as stack:
        room = _Room(ready, truth, have, yard_words(lang), picture, stack, as_json=as_json)
        room.open(ears, voice, logs or logs_folder(), call_sign, seed, unguided=unguided)
        room.run(unguided=unguided)


def _list(ready: Prepared, lang: str, *, as_json: bool) -> None:
    for fault in fitting(ready.plan.procedure, fit_of(ready.files, ready.plan.crew)):
        if as_json:
            row = {"fault": fault.id, "what": fault.what, "hard": fault.hard, "looks": fault.looks, "says": fault.says}
            click.echo(json.dumps(row))
        else:
            click.echo(f"{fault.id:20s} {fault.hard}  {fault.what}")
            shows, says = signs_in_words(fault, ready, yard_words(lang))
            click.echo(f"{'':23s}shows at: {shows}. Answer: {says}.")


class _Room:
    """The classroom with its doors, ears and paper."""

    def __init__(
        self, ready: Prepared, truth: Truth, faults: tuple[str, ...], words: YardWords, picture: Path | None,
        stack: ExitStack, *, as_json: bool,
    ) -> None:  # fmt: skip
        self.ready, self.faults, self.words, self.picture = ready, faults, words, picture
        self.stack, self.as_json = stack, as_json
        self.clocks = PracticeClocks()
        self.score = Score(ready.plan, faults)
        self.room = Classroom(
            ready, Crew(ready.plan, truth), words, self.tell, self.note, self.draw, self.score
        )  # fmt: skip

    def open(self, ears: str, voice: str, logs: Path, call_sign: str, seed: int, *, unguided: bool) -> None:
        """Open ears and voice, and begin the log; it says that this is practice."""
        opened = open_ears(ears, self.ready.book)
        self.ears = opened.ears
        self.stack.callback(self.ears.close)
        spoken = open_voice(voice, self.ready.plan.lang, cache_folder() / "voice")
        self.voice = spoken.voice
        self.stack.callback(self.voice.close)
        key = tablet_key(keys_folder())
        plan = self.ready.plan
        notes = (f"crew: {plan.crew}", "practice", f"practice seed: {seed}", *(f"fault: {one}" for one in self.faults))
        record = Opened(
            run=datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ-") + secrets.token_hex(3),
            program=__version__, procedure=plan.procedure, rig=plan.rig, site=plan.site, lang=plan.lang,
            ears=ears, voice=voice, files=self.ready.hashes, consent_audio=False, consent_words=True,
            key=key.public, notes=(*notes, "unguided") if unguided else notes, call_sign=call_sign,
        )  # fmt: skip
        self.writer = Writer.begin(logs, record, key, clocks=self.clocks)
        self.stack.callback(self.writer.close)
        if isinstance(self.ears, TypedEars):
            self.ears.controls = Controls(self._forward, _no_power_cut)
        for notice in (*opened.notices, *spoken.notices, f"Log: {self.writer.folder}"):
            self.tell(notice)
        self.draw(self.room.crew.truth)

    def run(self, *, unguided: bool) -> None:
        """See the practice through, and tell how it went."""
        if unguided:
            self.tell(self.words.told["begin-alone"])
            alone(self.ears, self.room, self.writer.now)
            self._close("practice unguided")
            self.tell(broken_in_words((harm.kind for harm in self.room.crew.truth.harms), self.words))
            return
        self.tell(self.words.told["begin"])
        yard = YardEars(self.ears, self.room, self.writer.now)
        session = Session(self.ready, self.writer, yard, self.voice, self.show, notice=self.tell)
        if not session.run():
            self._report()
            self._close("broken off")

    def show(self, shown: Shown) -> None:
        """Print a decision, let it count in the yard, and put the score into the log before its end."""
        if self.as_json:
            says = [sentence.text for sentence in shown.sentences]
            step = shown.prepared.plan.steps[shown.state.step].id
            rule = shown.decision.rule
            click.echo(json.dumps({"step": step, "kind": shown.decision.kind.value, "rule": rule, "says": says}))
        else:
            if shown.decision.kind is Kind.REFUSED:
                click.echo("  REFUSED")
            for sentence in shown.sentences:
                click.echo(f"  says    {sentence.text}")
        self.room.show(shown)
        if shown.state.phase is Phase.OVER:
            self._report()

    def tell(self, text: str) -> None:
        """Tell the trainee something."""
        click.echo(json.dumps({"yard": text}, ensure_ascii=False) if self.as_json else f"  yard    {text}")

    def note(self, text: str) -> None:
        """Put a line into the log."""
        self.writer.append(Note(text=text))

    def draw(self, truth: Truth) -> None:
        """Draw the rig anew where a drawing is wanted."""
        if self.picture is None:
            return
        try:
            self.picture.write_text(drawing(truth), encoding="utf-8")
        except OSError as error:
            why = (error.strerror or str(error)).lower()
            raise InputError(f"The drawing {self.picture} cannot be written: {why}; name another file.") from None

    def _report(self) -> None:
        report = self.score.report(self.room.crew.truth)
        self.note("practice score: " + json.dumps(report, sort_keys=True))
        if self.as_json:
            click.echo(json.dumps({"score": report}))
        else:
            for line in score_in_words(report, self.ready, self.words):
                click.echo(line)

    def _close(self, outcome: str) -> None:
        code = self.writer.finish(Closed(outcome=outcome))
        self.tell(f"Code of the log's end: {code}")

    def _forward(self, milliseconds: int) -> None:
        self.clocks.forward(milliseconds)
        self.note(f"practice: the clock was put forward by {milliseconds / 1000:g} s")


def _no_power_cut(_changed: bool) -> NoReturn:
    raise InputError("The classroom yard knows no power cut: a rig that is put away in thought cannot be found again.")
