"""What a procedure, a rig, a site and the yard's own rules are, as they stand in their files.

These models are the file boundary: strict, frozen, no unknown keys. They hold ids only; every word
that is spoken lives in a word file beside them, by language (``words.py``). What a run needs is
worked out from them once, in ``plan.py``.
"""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

UNKNOWN = "unknown"
"""The value every fact has until somebody has seen it; never safe."""

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$")]
Value = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9 ]*$")]
Source = Annotated[str, StringConstraints(min_length=3)]
Sets = dict[Id, Value]
OneOf = dict[Id, Annotated[list[Value], Field(min_length=1)]]


class Signal(StrEnum):
    """Signal words and their meaning as in ANSI Z535.4-2007, 4.14.1-4."""

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"
    NOTICE = "notice"


class _Part(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Fact(_Part):
    """A thing about the rig with a few named values; ``unknown`` is always one more.

    ``decays``: after an interruption the fact is unknown again and is looked at anew, by the look
    of the same name. ``secure`` is the value it must be brought to first, whatever it was: after an
    interruption the rig is held before anyone looks at anything.
    """

    values: Annotated[list[Value], Field(min_length=2)]
    decays: bool = False
    secure: Value | None = None


class Act(_Part):
    """A risky thing a step asks for or the driver announces.

    ``announce`` is the phrase that announces it. ``starts`` holds the facts that change the moment
    the act may be under way, before anyone has seen how it ended. ``anytime`` acts may be done
    whenever no never rule forbids them; the others only at the step that asks for them.
    """

    announce: Id
    starts: Sets = {}
    anytime: bool = False


class Never(_Part):
    """An act refused while every fact in ``when`` has one of the values named, or is unknown."""

    id: Id
    act: Id
    when: Annotated[OneOf, Field(min_length=1)]
    signal: Signal
    source: Source


class Hazard(_Part):
    """A danger told immediately before a step; its words hold no instruction."""

    id: Id
    signal: Signal
    source: Source


class Answer(_Part):
    """A phrase that counts at a step, the facts it sets, and where it leads.

    ``next`` is a step id, or "restart" (all facts unknown, back to the first step), "fail" (the
    same, told as a failed coupling), "halt" (the run ends: do not move, call for help) or "done".
    Left out, it is the step that follows.
    """

    phrase: Id
    sets: Sets = {}
    next: Id | None = None
    critical: bool = False
    only: OneOf = {}


class Hold(_Part):
    """A time to be held, counted aloud, before the step takes answers. ``seconds`` has a source."""

    seconds: Annotated[int, Field(ge=1, le=900)]
    begin: Id
    source: Source


class Outcome(_Part):
    """What a reading within or outside its limit sets, and where it leads."""

    sets: Sets = {}
    next: Id | None = None


class ReadingDue(_Part):
    """A number to be spoken with its unit and held against the site's limit of that name."""

    limit: Id
    within: Outcome
    outside: Outcome


class Step(_Part):
    """One thing to do or look at: at most one hazard before it, one sentence, and its answers.

    ``aside`` steps are not in the run of the order; only an answer's ``next`` leads there.
    ``needs`` must hold on arrival. ``only`` keeps the step for rigs, sites or crews that have it.
    ``who`` says whose word counts: the driver's, or the mate's.
    """

    id: Id
    block: Id
    aside: bool = False
    only: OneOf = {}
    act: Id | None = None
    hazard: Id | None = None
    needs: OneOf = {}
    who: Literal["driver", "mate"] = "driver"
    hold: Hold | None = None
    answer: list[Answer] = []
    reading: ReadingDue | None = None
    source: Source


class Block(_Part):
    """A group of steps that a site may place elsewhere; ``optional`` ones it may leave out."""

    optional: bool = False


class Done(_Part):
    """What the run claims at its end, and the facts without which it may not claim it."""

    claim: Id
    needs: Annotated[OneOf, Field(min_length=1)]


class Procedure(_Part):
    """``procedure.toml``: blocks in their default order, and steps.

    ``only`` names the rigs, sites and crews the whole procedure is for; others are told so.
    """

    format: Literal[1]
    id: Id
    only: OneOf = {}
    order: Annotated[list[Id], Field(min_length=1)]
    blocks: dict[Id, Block] = {}
    done: Done
    step: Annotated[list[Step], Field(min_length=1)]


class Look(_Part):
    """How a fact that decays is seen again: a phrase for each value that can be seen, or a reading."""

    hazard: Id | None = None
    act: Id | None = None
    answer: list[Answer] = []
    reading: ReadingDue | None = None


class Yard(_Part):
    """``yard.toml``: the facts, acts, never rules, hazards and looks that all procedures share."""

    format: Literal[1]
    features: dict[Id, Annotated[list[Value], Field(min_length=2)]]
    choices: dict[Id, Annotated[list[Value], Field(min_length=2)]]
    facts: dict[Id, Fact]
    acts: dict[Id, Act]
    never: list[Never]
    hazard: list[Hazard]
    look: dict[Id, Look]


Lang = Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}$")]
Titles = Annotated[dict[Lang, Annotated[str, StringConstraints(min_length=2, max_length=120)]], Field(min_length=1)]
"""What a rig or site is called, by language; it is spoken when a run begins."""


class Rig(_Part):
    """A rig file: what this tractor and trailer have, one value for every feature of the yard."""

    format: Literal[1]
    title: Titles
    features: dict[Id, Value]


class Limit(_Part):
    """A limit on a reading. ``unit`` is that of the numbers here; readings are converted to it.

    Exactly at a bound is told by which bound is named: ``at_least`` and ``at_most`` take it,
    ``more_than`` and ``less_than`` do not. Outside ``plausible`` the number is asked again.
    """

    kind: Literal["pressure", "length", "time", "angle"]
    unit: Literal["psi", "kPa", "bar", "in", "mm", "s", "min", "deg"]
    at_least: Decimal | None = None
    more_than: Decimal | None = None
    at_most: Decimal | None = None
    less_than: Decimal | None = None
    plausible: Annotated[list[Decimal], Field(min_length=2, max_length=2)]
    source: Source


class Pace(_Part):
    """Times in seconds a site may set: before a step is asked again; before stand-by is long."""

    ask_again: Annotated[int, Field(ge=10, le=1800)] = 90
    long_stand_by: Annotated[int, Field(ge=60, le=86_400)] = 600


Kept = Literal["audio", "words", "log"]
"""What of a run is kept for a time: recordings, spoken words, and the log itself."""


class Keep(_Part):
    """How long a kind of thing is kept after a run's last record; 0 months and 0 days: not at all."""

    months: Annotated[int, Field(ge=0, le=1200)] = 0
    days: Annotated[int, Field(ge=0, le=36_600)] = 0
    source: Source

    @model_validator(mode="after")
    def _says_how_long(self) -> Self:
        if not self.model_fields_set & {"months", "days"}:
            raise ValueError("give months or days")
        return self


class Site(_Part):
    """A site file: order of blocks per procedure, choices, limits, keeping of records."""

    format: Literal[1]
    title: Titles
    order: dict[Id, list[Id]] = {}
    choices: dict[Id, Value]
    limits: dict[Id, Limit] = {}
    pace: Pace = Pace()
    keep: dict[Kept, Keep] = {}
    source: Source
