"""What a run's decisions come to: visits of steps, refusals and readings. Pure.

Follows the decisions in the order of the log. A visit begins when a step (or, after an interruption, a
look) is asked and ends when an answer counts, is taken back, or something comes between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_HALF_EVEN, Decimal

from assistant.errors import InputError
from assistant.fleet.scale import on_scale
from assistant.journal.records import Json
from assistant.phrases.units import convert, kind_of

_BASE = {"pressure": "kPa", "length": "mm", "time": "s", "angle": "deg"}
_ASKED = frozenset({"asking", "looking"})
_COUNTS = {"accepted": "answered", "failed": "failed", "restarted": "restarted", "ended": "answered"}
_ENDS = _COUNTS | {"taken-back": "taken-back"} | dict.fromkeys(
    ("begun", "resumed", "stopped", "waiting", "deaf", "went-on", "hearing-back"), "interrupted"
)  # fmt: skip
_NO_ANSWER = {"asked-for": "restarted", "given-up": "given-up"}
"""Reasons of a command, not of the step's answer."""


@dataclass(slots=True)
class Answer:
    """What was said and may count: a phrase, or a number with its unit for a limit."""

    at: int
    phrase: str = ""
    who: str = ""
    value: str = ""
    unit: str = ""
    limit_name: str = ""

    @property
    def name(self) -> str:
        """The phrase's id; for a number "reading:" and the limit's name."""
        return self.phrase or f"reading:{self.limit_name}"


@dataclass(slots=True)
class Visit:
    """The visit under way; see `schema.Visit`."""

    seq: int
    step: str
    look: bool
    asked: int
    tries: int = 0
    not_understood: int = 0
    repeats: int = 0
    read_back: Answer | None = None


@dataclass
class Steps:
    """Takes a run's decisions one by one; rows gather in ``visits``, ``refusals`` and ``readings``.

    Rows are tuples in the order of the tables' columns, without ``run_id``; `drain` hands them over.
    """

    rig: str
    day: int
    visits: list[tuple[object, ...]] = field(default_factory=list)
    refusals: list[tuple[object, ...]] = field(default_factory=list)
    readings: list[tuple[object, ...]] = field(default_factory=list)
    failures: int = 0
    now: Visit | None = None
    _nth: int = 0
    _seen: set[tuple[str, str]] = field(default_factory=set)

    @property
    def step(self) -> str:
        """The step that is asked, "" between steps."""
        return self.now.step if self.now else ""

    def take(self, seq: int, at: int, event: Json, decision: Json) -> None:
        """Take the decision in record ``seq`` at ``at`` ms."""
        kind, reason = str(decision["kind"]), str(decision["reason"])
        if kind == "failed":
            self.failures += 1
        elif kind == "refused":
            self._refuse(seq, at, event, decision)
        if self.now is not None:
            self._go_on(self.now, seq, at, event, decision)
        ends = kind in _ENDS and not (kind == "taken-back" and reason != "last-answer")
        if ends and self.now is not None:
            self._close(self.now, None, at, _ENDS[kind])
        self._ask(seq, at, decision)

    def finish(self) -> None:
        """Close what the log's end leaves open."""
        if self.now is not None:
            self._close(self.now, None, self.now.asked, "open")

    def _ask(self, seq: int, at: int, decision: Json) -> None:
        looks = decision["looks"]
        look = decision["phase"] == "looking" and isinstance(looks, list) and bool(looks)
        if decision["phase"] not in _ASKED:
            return
        step = str(looks[0]) if look and isinstance(looks, list) else str(decision["step"])
        if self.now is not None and (self.now.step, self.now.look) != (step, look):
            self._close(self.now, None, at, "interrupted")
        if self.now is None:
            self.now = Visit(seq, step, look, at)

    def _go_on(self, visit: Visit, seq: int, at: int, event: Json, decision: Json) -> None:
        """Take what happens within a visit into account; an answer that counts ends it."""
        kind, reason = decision["kind"], str(decision["reason"])
        if kind == "read-back":
            visit.read_back = None if _line(decision) == "command-ask" else _answer(at, event, str(decision["rule"]))
            visit.tries += visit.read_back is not None
        elif kind == "asked-again":
            missed = event["event"] == "not-heard"
            visit.not_understood += missed
            visit.repeats += reason == "silence"
            visit.tries += not missed and reason != "silence" and visit.read_back is None
        elif kind == "repeated":
            visit.repeats += 1
        elif kind == "taken-back":
            visit.read_back = None
        elif kind in _COUNTS:
            self._count(visit, seq, at, event, decision)

    def _count(self, visit: Visit, seq: int, at: int, event: Json, decision: Json) -> None:
        """An answer counts, or a command ended the visit."""
        reason = str(decision["reason"])
        if reason in _NO_ANSWER:
            self._close(visit, None, at, _NO_ANSWER[reason])
            return
        answer = visit.read_back
        if answer is None:
            answer = _answer(at, event, str(decision["rule"]))
            visit.tries += 1
        if answer.value:
            self._read(visit, seq, at, answer, decision)
        self._close(visit, answer, at, _COUNTS[str(decision["kind"])])

    def _close(self, visit: Visit, answer: Answer | None, at: int, how: str) -> None:
        answered = answer.at if answer else None
        name = answer.name if answer else ""
        self.visits.append((
            visit.seq, self._nth, visit.step, visit.look, visit.asked, answered, at if answer else None,
            None if answered is None else on_scale(answered - visit.asked),
            name, answer.who if answer else "", how, visit.tries, visit.not_understood, visit.repeats,
            answer is not None and self._first("step", visit.step), answer is not None and self._first("answer", name),
        ))  # fmt: skip
        self._nth += 1
        self.now = None

    def _refuse(self, seq: int, at: int, event: Json, decision: Json) -> None:
        reason = str(decision["reason"])
        refused = str(decision["rule"]) if reason == "never" else reason
        self.refusals.append((
            seq, at, self.step, refused, reason, str(decision["act"]), str(event.get("phrase", "")),
            self._first("refused", refused),
        ))  # fmt: skip

    def _read(self, visit: Visit, seq: int, at: int, answer: Answer, decision: Json) -> None:
        milli, base = normalised(answer.value, answer.unit)
        within = any(key == "within" for _, key, _ in _lines(decision))
        self.readings.append((
            seq, at, visit.step, answer.limit_name, answer.value, answer.unit, milli, base, within, self.rig,
            self.day, self._first("limit", answer.limit_name),
        ))  # fmt: skip

    def _first(self, what: str, name: str) -> bool:
        """Return whether this is the run's first of a kind, which counts the run."""
        key = (what, name)
        new = key not in self._seen
        self._seen.add(key)
        return new


def normalised(value: str, unit: str) -> tuple[int, str]:
    """Return a reading in thousandths of its kind's base unit, rounded half to even, and that unit.

    A unit that this program does not know stands for itself.
    """
    number = Decimal(value)
    try:
        base = _BASE[str(kind_of(unit))]
        number = convert(number, unit, base)
    except (InputError, KeyError):
        base = unit
    return int((number * 1000).to_integral_value(ROUND_HALF_EVEN)), base


def _answer(at: int, event: Json, limit_name: str) -> Answer:
    who = str(event.get("who", ""))
    if event["event"] == "measured":
        return Answer(at, who=who, value=str(event["value"]), unit=str(event["unit"] or ""), limit_name=limit_name)
    return Answer(at, phrase=str(event.get("phrase", "")), who=who)


def _lines(decision: Json) -> list[tuple[str, str, Mapping[str, str]]]:
    lines = decision["lines"]
    return lines if isinstance(lines, list) else []


def _line(decision: Json) -> str:
    """Return the key of the first line said."""
    lines = _lines(decision)
    return lines[0][1] if lines else ""
