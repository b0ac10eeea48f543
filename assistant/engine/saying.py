"""Lines that several handlers say, and what they are to be counted against."""

from __future__ import annotations

from typing import Final

from assistant.engine.state import Kind, Line, Outcome, Phase, State

MOST: Final = 3  # unanswered askings that are counted; after as many the pad is offered or the run waits


def line(key: str, **places: str) -> Line:
    """Return a shared line by its key."""
    return Line("line", key, tuple(sorted(places.items())))


def went_stale(state: State) -> tuple[Line, ...]:
    """Say that things must be looked at again, where they must."""
    return (line("look-again"),) if state.phase is Phase.LOOKING else ()


def told(kind: Kind, reason: str) -> tuple[Line, ...]:
    """What is said of the way a move ended."""
    if kind is Kind.ENDED:
        return (line("done", title="") if reason == Outcome.DONE else line("halt"),)
    if kind is Kind.FAILED:
        return (line("fail"),)
    if kind is Kind.RESTARTED:
        return (line("restart" if reason == "restart" else "needs-unmet"),)
    return ()
