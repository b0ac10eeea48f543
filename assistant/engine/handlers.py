"""Which function works out what each trigger wants: the proposals that the table then judges.

A handler never checks phases (the table does) and never changes anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from assistant.engine.answers import answer, command, confirm, give_up, hold, measure, take_back
from assistant.engine.breaks import all_clear, begin, go_ahead, mic_back, mic_lost, resume, stand_by, stop
from assistant.engine.events import Event
from assistant.engine.state import Decision, State
from assistant.engine.telling import announce, misheard, repeat, setting
from assistant.engine.ticks import tick
from assistant.procedure.plan import Plan

Handler = Callable[[Plan, State, Event, int], Decision]

HANDLERS: Mapping[str, Handler] = {
    "begin": begin,
    "resume": resume,
    "answer": answer,
    "measure": measure,
    "hold": hold,
    "confirm": confirm,
    "take_back": take_back,
    "command": command,
    "give_up": give_up,
    "stand_by": stand_by,
    "go_ahead": go_ahead,
    "stop": stop,
    "all_clear": all_clear,
    "mic_lost": mic_lost,
    "mic_back": mic_back,
    "misheard": misheard,
    "announce": announce,
    "repeat": repeat,
    "setting": setting,
    "tick": tick,
}
