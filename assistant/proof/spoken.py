"""A list of moves as lines to type, so that a fault can be replayed with ``hitchcall run --ears typed``.

What nobody says is a control line: ``#wait 90`` (seconds), ``#power``, ``#power changed``, ``#mic lost``,
``#mic back``, ``#noise``. ``assistant/ears/control.py`` says what a typed practice run does with each.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from assistant.engine.events import Event, Heard, Measured, Microphone, NotHeard, Resumed, Tick
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Role
from assistant.procedure.plan import Plan
from assistant.proof.moves import Move


def typed_lines(moves: Iterable[Move], book: PhraseBook | None = None) -> list[str]:
    """Return the lines to type; without a phrase book, phrases stand as their ids in brackets."""
    return [line for move in moves for line in _lines(move, book)]


def replay_command(plan: Plan) -> str:
    """Return the command whose run takes the typed lines of a plan."""
    setting = f"--rig {plan.rig} --site {plan.site} --crew {plan.crew}"
    return f"hitchcall run {plan.procedure} {setting} --practice --ears typed"


def _lines(move: Move, book: PhraseBook | None) -> Iterator[str]:
    if isinstance(move.event, Tick):
        yield from (f"#wait {_seconds(move.after)}" for _ in range(move.silent + 1))
        return
    if move.after:
        yield f"#wait {_seconds(move.after)}"
    line = _line(move.event, book)
    if line:
        yield line


def _line(event: Event, book: PhraseBook | None) -> str:
    match event:
        case Heard(phrase, who):
            said = book.phrases[phrase][0] if book is not None and phrase in book.phrases else f"[{phrase}]"
            mate = book.mate if book is not None else "mate"
            return f"{mate} {said}" if who is Role.MATE else said
        case Measured(value, unit, _):
            return f"{value:f} {unit or ''}".strip()
        case Resumed(changed):
            return "#power changed" if changed else "#power"
        case Microphone(change):
            return f"#mic {change}"
        case NotHeard():
            return "#noise"
        case _:
            return ""  # a run begins by itself


def _seconds(milliseconds: int) -> str:
    return f"{milliseconds / 1000:g}"
