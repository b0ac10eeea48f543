"""What hearings and decisions tell the store, read by type: only these fields are taken out of a record's JSON.

The rest (what each ear made of it, all facts at that moment) is stepped over, which halves what reading a
record costs. A field that is missing or of another type is a record of another program's version.
"""

from __future__ import annotations

from msgspec import DecodeError, Raw, Struct
from msgspec.json import Decoder


class Heard(Struct, gc=False):
    """The data of "heard"; see `journal.records.Heard`."""

    engine: str
    who: str
    audio: str = ""
    phrase: str | None = None
    unheard: str | None = None
    speech_db: str | None = None
    noise_db: str | None = None


class Event(Struct, gc=False):
    """What came to the engine; see `engine.events`."""

    event: str
    phrase: str = ""
    who: str = ""
    value: str = ""
    unit: str | None = None


class Decision(Struct, gc=False):
    """What the engine decided; see `engine.record`. ``lines`` are left as they stand: few are looked into."""

    act: str
    kind: str
    lines: Raw
    looks: list[str]
    phase: str
    reason: str
    rule: str
    step: str

    def spoken(self) -> list[str]:
        """Return the keys of the lines that were to be spoken."""
        return [key for _, key, _ in _lines(self.lines)]


class Decided(Struct, gc=False):
    """The data of "decided"."""

    decision: Decision
    event: Event


heard = Decoder(Heard).decode
decided = Decoder(Decided).decode
_lines = Decoder(list[tuple[str, str, Raw]]).decode

NotSoError = DecodeError
"""What `heard` and `decided` raise when the data are not of these types."""
