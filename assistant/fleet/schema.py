"""The tables of the fleet store, typed, once; `assistant.fleet.migrations` brings a database to them.

Times on a run's own clock are ``…_ms`` since it began; wall times are ms since 1970 UTC as the tablet
had them. Levels are tenths of a decibel re full scale. A value that was read stands as decimal text and,
for comparing, in thousandths of its kind's base unit (kPa, mm, s, deg). No spoken words are kept here.

``took_s`` is a time in whole seconds on the scale of `assistant.fleet.scale`. The rows of a run are written
and taken away with it by one module, `assistant.fleet.write`; a foreign key would cost a look-up for each.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, ForeignKey, Index, LargeBinary, String, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class Base(DeclarativeBase):
    """Base of all tables of the store."""


class Tablet(Base):
    """A tablet, known by its public key; its name is for people and need not be unique."""

    __tablename__ = "tablet"
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    key: Mapped[str] = mapped_column(String, unique=True)
    name: Mapped[str]


class Run(Base):
    """One run as its longest sound copy tells it.

    ``state`` is "whole", "unfinished", or "disputed" when two sound copies contradict each other (then
    it counts nowhere). ``outcome`` is the log's own word, "" without an end. ``call_sign`` is "" unless
    the driver gave one and nothing was forgotten since. ``person`` is one bit of 62, of the call sign or,
    without one, the tablet: enough to count people, not to name them. ``links`` holds the first four
    bytes of each record's hash. ``refusals`` and ``not_understood`` count its rows of these. ``duration_ms``
    leaves out the time the run lay still between interruption and going on. ``clock`` is "", or "moved",
    "future", "past" joined by spaces: what is odd about the wall clock.
    """

    __tablename__ = "run"
    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    tablet_id: Mapped[int] = mapped_column(ForeignKey("tablet.id"))
    run: Mapped[str]
    state: Mapped[str]
    program: Mapped[str]
    procedure: Mapped[str]
    rig: Mapped[str]
    site: Mapped[str]
    crew: Mapped[str]
    lang: Mapped[str]
    ears: Mapped[str]
    practice: Mapped[bool]
    call_sign: Mapped[str]
    person: Mapped[int] = mapped_column(BigInteger)
    month: Mapped[str]
    started_wall_ms: Mapped[int] = mapped_column(BigInteger)
    ended_wall_ms: Mapped[int] = mapped_column(BigInteger)
    duration_ms: Mapped[int] = mapped_column(BigInteger)
    took_s: Mapped[int]
    outcome: Mapped[str]
    failures: Mapped[int]
    records: Mapped[int]
    clock: Mapped[str]
    clock_moved_ms: Mapped[int] = mapped_column(BigInteger)
    has_audio: Mapped[bool]
    forgotten: Mapped[str]
    source: Mapped[str]
    source_size: Mapped[int] = mapped_column(BigInteger)
    source_mtime_ns: Mapped[int] = mapped_column(BigInteger)
    links: Mapped[bytes] = mapped_column(LargeBinary)
    refusals: Mapped[int]
    not_understood: Mapped[int]
    __table_args__ = (
        UniqueConstraint("tablet_id", "run"),
        Index("run_by_month", "procedure", "month"),
        Index("run_by_call_sign", "call_sign", "started_wall_ms"),
        Index("run_by_start", "started_wall_ms"),
        Index("run_by_procedure", "procedure", "started_wall_ms"),
        Index("run_by_site", "site", "started_wall_ms"),
        Index("run_by_rig", "rig", "started_wall_ms"),
    )


class Visit(Base):
    """One asking of a step (or of a look, after an interruption), to the answer that counted.

    ``seq`` is the record that asked, ``nth`` its place in the run. ``answered_ms`` is when the answer that
    counted was said and ``counted_ms`` when it counted (later when it was read back); both null without
    one. ``how`` it ended: "answered", "failed", "restarted", "taken-back", "given-up", "interrupted",
    "open". ``tries`` are answers said, ``repeats`` askings again after silence or on request.
    ``first`` and ``first_answer`` mark the run's first visit of that step, and first with that answer.
    """

    __tablename__ = "visit"
    run_id: Mapped[int] = mapped_column(primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True)
    nth: Mapped[int]
    step: Mapped[str]
    look: Mapped[bool]
    asked_ms: Mapped[int] = mapped_column(BigInteger)
    answered_ms: Mapped[int | None] = mapped_column(BigInteger)
    counted_ms: Mapped[int | None] = mapped_column(BigInteger)
    took_s: Mapped[int | None]
    answer: Mapped[str]
    who: Mapped[str]
    how: Mapped[str]
    tries: Mapped[int]
    not_understood: Mapped[int]
    repeats: Mapped[int]
    first: Mapped[bool]
    first_answer: Mapped[bool]
    __table_args__ = ({"sqlite_with_rowid": False},)


class Refusal(Base):
    """A refusal: ``refused`` is the never rule's id, or the reason where none spoke ("not-this-step" …)."""

    __tablename__ = "refusal"
    run_id: Mapped[int] = mapped_column(primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True)
    at_ms: Mapped[int] = mapped_column(BigInteger)
    step: Mapped[str]
    refused: Mapped[str]
    reason: Mapped[str]
    act: Mapped[str]
    phrase: Mapped[str]
    first: Mapped[bool]
    __table_args__ = ({"sqlite_with_rowid": False},)


class Hearing(Base):
    """One utterance: ``phrase`` or ``unheard`` (why not understood), "" each when not so.

    ``band`` is the noise floor's ten decibels, by its lower edge (-40 for -40.0 to -30.1 dB); null when no
    sound was heard (typed, pads). ``first`` marks the run's first hearing in its band.
    """

    __tablename__ = "hearing"
    run_id: Mapped[int] = mapped_column(primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True)
    at_ms: Mapped[int] = mapped_column(BigInteger)
    step: Mapped[str]
    engine: Mapped[str]
    who: Mapped[str]
    phrase: Mapped[str]
    unheard: Mapped[str]
    speech_db10: Mapped[int | None]
    noise_db10: Mapped[int | None]
    band: Mapped[int | None]
    first: Mapped[bool]
    __table_args__ = ({"sqlite_with_rowid": False},)


class Reading(Base):
    """A reading that was confirmed: the limit it was held against, as said, and normalised.

    ``milli`` is in thousandths of ``base_unit``; ``day`` counts days since 1970 by the tablet's wall clock.
    """

    __tablename__ = "reading"
    run_id: Mapped[int] = mapped_column(primary_key=True)
    seq: Mapped[int] = mapped_column(primary_key=True)
    at_ms: Mapped[int] = mapped_column(BigInteger)
    step: Mapped[str]
    limit_name: Mapped[str]
    value: Mapped[str]
    unit: Mapped[str]
    milli: Mapped[int] = mapped_column(BigInteger)
    base_unit: Mapped[str]
    within: Mapped[bool]
    rig: Mapped[str]
    day: Mapped[int]
    first: Mapped[bool]
    __table_args__ = (
        Index("reading_by_day", "limit_name", "day", "run_id", "seq"),
        Index("reading_by_rig", "limit_name", "rig", "day", "run_id", "seq"),
        {"sqlite_with_rowid": False},
    )


class Quarantine(Base):
    """A file that was not counted, and why. ``reason`` is a word for programs, ``what`` a sentence.

    ``digest`` is the file's SHA-256, "" when it cannot be read; ``line`` 0 means the whole file.
    """

    __tablename__ = "quarantine"
    path: Mapped[str] = mapped_column(primary_key=True)
    digest: Mapped[str] = mapped_column(primary_key=True)
    reason: Mapped[str]
    line: Mapped[int]
    what: Mapped[str]
    run: Mapped[str]
    seen_wall_ms: Mapped[int] = mapped_column(BigInteger)
    size: Mapped[int] = mapped_column(BigInteger)
    mtime_ns: Mapped[int] = mapped_column(BigInteger)


class Tally(Base):
    """Counts kept for the figures, by `assistant.fleet.tally`; "*" stands for every site, rig or month.

    ``kind`` says what is counted and what ``item`` and ``bin`` are; ``n`` counts, ``runs`` counts runs,
    ``people`` has the bits of all `Run.person` in it. Every figure names kind, site and rig, so they come
    first: what it asks for then lies together. Half of each page is left free (PostgreSQL writes a changed row
    anew, and where the page has room the index need not know).
    """

    __tablename__ = "tally"
    kind: Mapped[str] = mapped_column(primary_key=True)
    site: Mapped[str] = mapped_column(primary_key=True)
    rig: Mapped[str] = mapped_column(primary_key=True)
    practice: Mapped[bool] = mapped_column(primary_key=True)
    procedure: Mapped[str] = mapped_column(primary_key=True)
    month: Mapped[str] = mapped_column(primary_key=True)
    item: Mapped[str] = mapped_column(primary_key=True)
    bin: Mapped[int] = mapped_column(primary_key=True)
    n: Mapped[int] = mapped_column(BigInteger)
    runs: Mapped[int] = mapped_column(BigInteger)
    people: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = ({"sqlite_with_rowid": False, "postgresql_with": {"fillfactor": 50}},)


class Trend(Base):
    """Sums over readings, by `assistant.fleet.tally`, from which mean and slope come; "*" as in `Tally`.

    ``x`` is `Reading.day` and ``y`` `Reading.milli`.
    """

    __tablename__ = "trend"
    site: Mapped[str] = mapped_column(primary_key=True)
    rig: Mapped[str] = mapped_column(primary_key=True)
    practice: Mapped[bool] = mapped_column(primary_key=True)
    procedure: Mapped[str] = mapped_column(primary_key=True)
    month: Mapped[str] = mapped_column(primary_key=True)
    limit_name: Mapped[str] = mapped_column(primary_key=True)
    base_unit: Mapped[str] = mapped_column(primary_key=True)
    n: Mapped[int] = mapped_column(BigInteger)
    runs: Mapped[int] = mapped_column(BigInteger)
    people: Mapped[int] = mapped_column(BigInteger)
    outside: Mapped[int] = mapped_column(BigInteger)
    lowest: Mapped[int] = mapped_column(BigInteger)
    highest: Mapped[int] = mapped_column(BigInteger)
    last_x: Mapped[int] = mapped_column(BigInteger)
    sum_x: Mapped[int] = mapped_column(BigInteger)
    sum_y: Mapped[int] = mapped_column(BigInteger)
    sum_xx: Mapped[int] = mapped_column(BigInteger)
    sum_xy: Mapped[int] = mapped_column(BigInteger)
    __table_args__ = ({"sqlite_with_rowid": False, "postgresql_with": {"fillfactor": 50}},)


class Stale(Base):
    """A procedure's month whose tallies are behind its rows; set and cleared with them."""

    __tablename__ = "stale"
    procedure: Mapped[str] = mapped_column(primary_key=True)
    month: Mapped[str] = mapped_column(primary_key=True)
