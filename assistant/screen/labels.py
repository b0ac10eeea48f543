"""The page's own words, by language: what stands on it besides the engine's lines."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from assistant.screen.labels_ko import KOREAN

_ENGLISH: Final[Mapping[str, str]] = {
    "danger": "DANGER",
    "warning": "WARNING",
    "caution": "CAUTION",
    "notice": "NOTICE",
    "step": "Step {number} of {count}",
    "say-or-press": "Say or press",
    "press": "Press",
    "heard": "Heard",
    "pressed": "Pressed",
    "counts": "counts",
    "read-back": "not counted yet",
    "again": "not understood",
    "silence": "nothing heard",
    "refused": "refused",
    "refused-title": "Refused. Nothing has changed.",
    "restart-title": "Nothing counts from before.",
    "starting": "Getting ready.",
    "listening": "Listening",
    "hears": "I hear you",
    "opening": "Getting ready to listen. Only stop counts",
    "speaking": "Speaking. Only stop counts",
    "speaking-headset": "Speaking",
    "speaking-firm": "Speaking a hazard. Only stop counts",
    "deaf": "Deaf: no microphone. Press or type",
    "mic-lost": "Deaf: microphone lost. Only stop and giving up count",
    "typed": "Typed lines and pads",
    "pads": "Pads only",
    "recordings": "Recordings and pads",
    "lost": "Cut off",
    "lost-text": "Hitchcall does not answer. Nothing counts. Stop where you are, brakes on.",
    "ended": "The session has ended.",
    "level": "Level",
    "noise": "Noise",
    "more": "More",
    "back": "Back to the step",
    "not-yet": "Not yet",
    "understood": "Understood. Say again",
    "parked": "I am parked. Go on",
    "parked-text": "Only while parked.",
    "stop": "STOP",
    "seen": "I have seen it: {phrase}",
    "mean-it": "I mean it: {phrase}",
    "theme": "Light: {theme}",
    "night": "night",
    "day": "day",
    "dim": "dim",
    "far": "Read from afar",
    "size": "Pad size",
    "size-text": "Hold a bank card against the bar. Press wider or narrower until they are equally long.",
    "wider": "Wider",
    "narrower": "Narrower",
    "pads-back": "Show the pads",
    "erase": "Erase",
    "point": "Point",
    "number": "Number",
    "next-answers": "Other answers",
    "not-spoken": "Not spoken. Read it here.",
    "stale": "Too late: that was for an earlier question.",
    "too-late": "Too late: that was for an earlier question.",
    "too-soon": "Too quick. Read first, then press.",
    "not-offered": "That does not count here.",
    "too-many": "Too many presses. Wait a moment.",
    "replayed": "That press was taken already.",
    "unsent": "The press did not arrive. Press again.",
    "needs-number": "Enter the number first.",
}

_LANGUAGES: Final[Mapping[str, Mapping[str, str]]] = {"en": _ENGLISH, "ko": KOREAN}


def labels(lang: str) -> Mapping[str, str]:
    """Return the page's words; English where a language has none yet."""
    return {**_ENGLISH, **_LANGUAGES.get(lang, {})}
