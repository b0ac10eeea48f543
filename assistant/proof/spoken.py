"""A list of moves as lines to type, so that a fault can be replayed with ``hitchcall run --ears typed``.

What nobody says is a control line, which typed ears take in a practice or test run only:

===================  =========================================================
``#wait 90``         that many seconds pass, then the clock ticks
``#power``           the program ended and was started again
``#power changed``   the same, and the procedure's files are no longer the same
``#mic lost``        the microphone is gone; ``#mic back``: it is there again
``#noise``           something was said that nobody could make out
===================  =========================================================
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from assistant.engine.events import Event, Heard, Measured, Microphone, NotHeard, Resumed, Tick
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Role
from assistant.proof.explore import Move


def typed_lines(moves: Iterable[Move], book: PhraseBook | None = None) -> list[str]:
    """Return the lines to type; without a phrase book, phrases stand as their ids in brackets."""
    return [line for move in moves for line in _lines(move, book)]


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
