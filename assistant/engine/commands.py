"""The session words: phrases that mean the same at every step.

"say again", "stand by", "go ahead" and "correction" are radio procedure words (ICAO Annex 10,
Volume II); the rest are plain English.
"""

from __future__ import annotations

from typing import Final

STOP: Final = "emergency-stop"
SAY_AGAIN: Final = "say-again"
WHERE: Final = "where-are-we"
HELP: Final = "what-may-i-say"
STAND_BY: Final = "stand-by"
GO_AHEAD: Final = "go-ahead"
CORRECTION: Final = "correction"
RIGHT: Final = "read-back-right"
CLEAR: Final = "everyone-clear"
GIVE_UP: Final = "give-up"
START_OVER: Final = "start-over"
SETTINGS: Final = ("slower", "faster", "louder", "quieter")

TRIGGERS: Final = {
    STOP: "stop",
    SAY_AGAIN: "repeat",
    WHERE: "repeat",
    HELP: "repeat",
    STAND_BY: "stand_by",
    GO_AHEAD: "go_ahead",
    CORRECTION: "take_back",
    RIGHT: "confirm",
    CLEAR: "all_clear",
    GIVE_UP: "give_up",
    START_OVER: "command",
    **dict.fromkeys(SETTINGS, "setting"),
}
"""Session phrase → the trigger of the machine it pulls."""

SESSION_PHRASES: Final = frozenset(TRIGGERS)
"""Every session phrase; no answer or announcement may use one of these ids."""
