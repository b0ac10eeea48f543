"""What is said, by language: the texts beside a procedure and those all procedures share.

Texts are for the ear: short, one action, trade words. A text may hold named places such as
``{step}``; which names a line takes is fixed here, so that a translator's slip is found at load.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from string import Formatter
from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

from assistant.procedure.model import Id

Text = Annotated[str, StringConstraints(min_length=2, max_length=400)]

LINE_PLACES: Mapping[str, frozenset[str]] = {
    name: frozenset(places.split())
    for name, places in {
        "caution": "",
        "begin": "title rig site",
        "resumed": "title",
        "step-of": "number count title",
        "read-back": "phrase",
        "read-back-number": "reading",
        "read-back-ask": "",
        "command-ask": "phrase",
        "heard": "phrase",
        "taken-back": "",
        "nothing-to-take-back": "",
        "refused-order": "act",
        "refused-phase": "",
        "allowed": "act",
        "not-live": "phrase",
        "wrong-voice": "who",
        "ask-again": "",
        "offer-pad": "",
        "no-unit": "",
        "wrong-kind": "",
        "impossible": "reading",
        "within": "reading",
        "outside": "reading",
        "hold-ask": "phrase seconds",
        "hold-begin": "seconds",
        "hold-count": "seconds",
        "hold-end": "",
        "hold-broken": "",
        "stand-by": "",
        "stand-by-silence": "",
        "go-ahead": "",
        "stopped": "",
        "stopped-remind": "",
        "mic-lost": "",
        "mic-back": "",
        "look-again": "",
        "look-differs": "",
        "secure-first": "",
        "look-done": "",
        "restart": "",
        "fail": "",
        "halt": "",
        "given-up": "",
        "needs-unmet": "",
        "done": "title",
        "over": "",
        "may-say": "phrases",
        "voice-set": "",
        "voice-cap": "",
        "ears-failed": "",
        "log-lost": "",
        "code-begin": "code",
        "code-end": "code",
        "disk-slow": "",
        "clock-set": "",
    }.items()
}
"""Every line the engine or the session may speak, with the places its text may and must name."""


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Said(_Part):
    """A sentence, and the shorter form used when it is asked again or shown small."""

    say: Text
    short: Text | None = None

    @property
    def brief(self) -> str:
        """The short form where there is one."""
        return self.short or self.say


class ProcedureWords(_Part):
    """``<procedure>/<lang>.toml``."""

    format: int
    title: Text
    done: Text
    step: dict[Id, Said]


class YardWords(_Part):
    """``<lang>.toml`` beside ``yard.toml``."""

    format: int
    signal: dict[Id, Text]
    line: dict[Id, Text]
    hazard: dict[Id, Said]
    never: dict[Id, Said]
    look: dict[Id, Said]
    act: dict[Id, Text]
    unheard: dict[Id, Text]
    who: dict[Id, Text]


@dataclass(frozen=True, slots=True)
class Words:
    """All texts of one run in one language."""

    lang: str
    yard: YardWords
    procedure: ProcedureWords


def places_of(text: str) -> set[str]:
    """The names in braces in ``text``; raises ValueError on broken braces."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}
