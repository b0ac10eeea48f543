"""The vocabulary of the log: every type of record, once, typed.

Pure data: no file, clock or device. A record of a type goes to the ``data`` of a log line with
`to_data` and comes back with `from_data`; `markdown` renders the table of types for the manual from
the classes below. What was *said* never stands in a record: `assistant.journal.words` keeps it beside
the log, and the record holds only a commitment to it, so that it can be forgotten later.
"""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Self

from assistant.journal.chain import RecordError

Json = Mapping[str, object]
"""A JSON object without floats."""


@dataclass(frozen=True, slots=True)
class Record:
    """Base of all record types; ``TYPE`` is the word in the log."""

    TYPE: ClassVar[str] = ""

    def to_data(self) -> dict[str, object]:
        """Return the record as a JSON object; tuples become lists."""
        # Not `dataclasses.asdict`, which copies deeply: this runs before every answer.
        names: tuple[str, ...] = self.__match_args__
        return {name: value if type(value := getattr(self, name)) in _AS_THEY_ARE else _plain(value) for name in names}

    @classmethod
    def from_data(cls, data: Json) -> Self:
        """Return the record in ``data``; raise `RecordError` naming the field that does not fit.

        A field with a default may be missing, so that a log from before the field stays readable.
        """
        fields = _fields(cls)
        values = {}
        for name, (fits, needed) in fields.items():
            if name in data:
                value = fits(data[name])
                if value is _UNFIT:
                    raise RecordError(f"the field {cls.TYPE}.{name} does not hold what it should")
                values[name] = value
            elif needed:
                raise RecordError(f'a record "{cls.TYPE}" lacks its field "{name}"')
        if len(values) < len(data):
            unknown = sorted(set(data) - set(fields))
            raise RecordError(f'a record "{cls.TYPE}" has no field "{unknown[0]}"')
        return cls(**values)


@dataclass(frozen=True, slots=True)
class Opened(Record):
    """The run begins: what it runs on, with which files, and what may be kept.

    ``files`` maps each procedure, grammar, rig and site file to its SHA-256; ``key`` is the tablet's
    public key in hex; ``notes`` holds what a reader must know first ("practice"). ``call_sign`` is a name
    that the driver chose to be known by in training figures, "" when none was given: nobody needs one.
    """

    TYPE: ClassVar[str] = "opened"
    run: str
    program: str
    procedure: str
    rig: str
    site: str
    lang: str
    ears: str
    voice: str
    files: Json
    consent_audio: bool
    consent_words: bool
    key: str
    notes: tuple[str, ...] = ()
    call_sign: str = ""


@dataclass(frozen=True, slots=True)
class Heard(Record):
    """One utterance and what it came to: a phrase, a reading, or why neither.

    ``reading`` is {"value": decimal text, "unit": text or null}. ``ears`` gives each recogniser's
    verdict without its words. ``said`` commits to the words (empty: not kept). ``audio`` is the
    SHA-256 of the samples. Times are ms on the listener's clock, levels dB re full scale as text.
    """

    TYPE: ClassVar[str] = "heard"
    engine: str
    who: str
    phrase: str | None = None
    reading: Json | None = None
    unheard: str | None = None
    said: str = ""
    audio: str = ""
    start_ms: int = 0
    end_ms: int = 0
    speech_db: str | None = None
    noise_db: str | None = None
    ears: Json = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Decided(Record):
    """What came to the engine and what it decided, with the reason; both as the engine writes them.

    The record's ``mono`` is the time the engine was given. Folding the events of a log through the
    engine must give the same decisions byte for byte.
    """

    TYPE: ClassVar[str] = "decided"
    event: Json
    decision: Json


@dataclass(frozen=True, slots=True)
class Spoke(Record):
    """What was spoken or shown: lines of {"kind": …, "text": …}, in order, and whether to the end."""

    TYPE: ClassVar[str] = "spoke"
    lines: tuple[Json, ...]
    complete: bool
    took_ms: int = 0


@dataclass(frozen=True, slots=True)
class Device(Record):
    """A microphone, loudspeaker, disk or screen changed state ("lost", "back", "slow" …)."""

    TYPE: ClassVar[str] = "device"
    what: str
    state: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Clock(Record):
    """The wall clock moved against the steady clock by ``moved_ms`` (set by hand, or by a network)."""

    TYPE: ClassVar[str] = "clock"
    moved_ms: int


@dataclass(frozen=True, slots=True)
class Note(Record):
    """A remark that changes nothing."""

    TYPE: ClassVar[str] = "note"
    text: str


@dataclass(frozen=True, slots=True)
class Resumed(Record):
    """The run goes on after an interruption.

    ``torn`` names the files that hold what was cut off a half-written end (``torn_bytes`` in all).
    ``decayed`` are the facts that must be seen again, ``changed`` the files that differ from the ones
    the run began with, ``files`` all of them as they are now (name to SHA-256), ``restarted`` whether
    the procedure begins anew because of that. ``away_ms`` is how long the run lay still by the wall
    clock; null when that clock was set back meanwhile.
    """

    TYPE: ClassVar[str] = "resumed"
    program: str
    decayed: tuple[str, ...]
    changed: tuple[str, ...]
    restarted: bool
    torn: tuple[str, ...] = ()
    torn_bytes: int = 0
    away_ms: int | None = None
    files: Json = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Closed(Record):
    """The run ended: "coupled", "uncoupled", "given up", "failed" … in the procedure's own word."""

    TYPE: ClassVar[str] = "closed"
    outcome: str
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Sealed(Record):
    """The short code of record number ``of`` was given out, to be written down outside the tablet."""

    TYPE: ClassVar[str] = "sealed"
    code: str
    of: int


@dataclass(frozen=True, slots=True)
class Forgotten(Record):
    """Recordings ("audio") or spoken words ("words") of this run are removed from here on, and why.

    The record stands before the removal, so that an interrupted one is seen and done again.
    """

    TYPE: ClassVar[str] = "forgotten"
    what: tuple[str, ...]
    audio_files: int
    words: int
    reason: str


TYPES: dict[str, type[Record]] = {
    kind.TYPE: kind for kind in (Opened, Heard, Decided, Spoke, Device, Clock, Note, Resumed, Closed, Sealed, Forgotten)
}


def decode(kind: str, data: Json) -> Record:
    """Return the typed record of a log line's ``type`` and ``data``; raise `RecordError`."""
    found = TYPES.get(kind)
    if found is None:
        raise RecordError(f'"{kind}" is no type of record this program knows')
    return found.from_data(data)


def markdown() -> str:
    """Return the table of record types for the manual, from the classes themselves."""
    rows = ["| record | what it says | fields |", "|---|---|---|"]
    for name, kind in TYPES.items():
        told = (kind.__doc__ or "").split("\n\n")[0].replace("\n", " ")
        names = ", ".join(f"`{item.name}`" for item in dataclasses.fields(kind))
        rows.append(f"| `{name}` | {' '.join(told.split())} | {names} |")
    return "\n".join(rows) + "\n"


_UNFIT = object()
_Fit = Callable[[object], object]
"""Returns a JSON value as a field's own type, or `_UNFIT`."""


_FIELDS: dict[str, dict[str, tuple[_Fit, bool]]] = {}


def _fields(kind: type[Record]) -> dict[str, tuple[_Fit, bool]]:
    """Return for each field what fits it and whether it must be there; made once a type."""
    if kind.TYPE not in _FIELDS:
        _FIELDS[kind.TYPE] = _made(kind)
    return _FIELDS[kind.TYPE]


def _made(kind: type[Record]) -> dict[str, tuple[_Fit, bool]]:
    hints = typing.get_type_hints(kind)
    return {
        item.name: (
            _fitting(hints[item.name]),
            item.default is dataclasses.MISSING and item.default_factory is dataclasses.MISSING,
        )
        for item in dataclasses.fields(kind)
    }


_AS_THEY_ARE = frozenset({dict, str, int, bool, type(None)})


def _plain(value: object) -> object:
    if type(value) is tuple:
        return [_plain(item) for item in value]
    return dict(value) if isinstance(value, Mapping) else value


def _fitting(hint: object) -> _Fit:
    """Return the function that fits a JSON value to a field of type ``hint``."""
    origin, parts = typing.get_origin(hint), typing.get_args(hint)
    if origin is types.UnionType:
        inner = _fitting(parts[0])
        return lambda value: None if value is None else inner(value)
    if origin is tuple:
        item = _fitting(parts[0])

        def fit_all(value: object) -> object:
            if type(value) is not list:
                return _UNFIT
            found = tuple(item(one) for one in value)
            return _UNFIT if _UNFIT in found else found

        return fit_all
    wanted = dict if hint == Json else hint
    return lambda value: value if type(value) is wanted else _UNFIT
