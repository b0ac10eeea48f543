"""What a run's decisions come to: visits of steps, refusals and readings. Pure.

Follows the decisions in the order of the log. A visit begins when a step (or, after an interruption, a
look) is asked and ends when an answer counts, is taken back, or something comes between.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, NamedTuple, TypeAlias

from assistant.errors import InputError
from assistant.fleet.scale import on_scale
from assistant.phrases.units import convert, kind_of

Told: TypeAlias = dict[str, Any]
"""A JSON object as it was parsed."""

_BASE = {"pressure": "kPa", "length": "mm", "time": "s", "angle": "deg"}
_ASKED = frozenset({"asking", "looking"})
_COUNTS = {"accepted": "answered", "failed": "failed", "restarted": "restarted", "ended": "answered"}
_ENDS = _COUNTS | {"taken-back": "taken-back"} | dict.fromkeys(
    ("begun", "resumed", "stopped", "waiting", "deaf", "went-on", "hearing-back"), "interrupted"
)  # fmt: skip
_NO_ANSWER = {"asked-for": "restarted", "given-up": "given-up"}
"""Reasons of a command, not of the step's answer."""


class Answer(NamedTuple):
    """What was said and may count: the phrase's id, or "reading:" and a limit's name with the number said for it."""

    at: int
    name: str
    who: str
    value: str = ""
    unit: str = ""
    limit_name: str = ""


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


class Steps:
    """Takes a run's decisions one by one; rows gather in ``visits``, ``refusals`` and ``readings``.

    Rows are tuples in the order of the tables' columns, without ``run_id``. ``now`` is the visit under way,
    ``failures`` counts failed couplings.
    """

    # Plain slots, and the decision as it was parsed: this runs for every answer of every run.
    __slots__ = ("_day", "_nth", "_rig", "_seen", "failures", "now", "readings", "refusals", "visits")

    def __init__(self, rig: str, day: int) -> None:
        self._rig, self._day = rig, day
        self.visits: list[tuple[object, ...]] = []
        self.refusals: list[tuple[object, ...]] = []
        self.readings: list[tuple[object, ...]] = []
        self.failures = self._nth = 0
        self.now: Visit | None = None
        self._seen: set[tuple[str, str]] = set()

    @property
    def step(self) -> str:
        """The step that is asked, "" between steps."""
        return self.now.step if self.now else ""

    def take(self, seq: int, at: int, event: Told, decision: Told) -> None:
        """Take the decision in record ``seq`` at ``at`` ms."""
        kind = decision["kind"]
        if kind == "failed":
            self.failures += 1
        elif kind == "refused":
            self._refuse(seq, at, event, decision)
        if self.now is not None:
            if kind in _COUNTS:
                self._count(self.now, seq, at, event, decision)
            else:
                _go_on(self.now, kind, at, event, decision)
            if self.now is not None and kind in _ENDS and (kind != "taken-back" or decision["reason"] == "last-answer"):
                self._close(self.now, None, at, _ENDS[kind])
        phase = decision["phase"]
        if phase in _ASKED:
            looks = decision["looks"] if phase == "looking" else ()
            self._ask(seq, at, str(looks[0] if looks else decision["step"]), look=bool(looks))

    def finish(self) -> None:
        """Close what the log's end leaves open."""
        if self.now is not None:
            self._close(self.now, None, self.now.asked, "open")

    def _ask(self, seq: int, at: int, step: str, *, look: bool) -> None:
        now = self.now
        if now is not None and (now.step != step or now.look is not look):
            self._close(now, None, at, "interrupted")
        if self.now is None:
            self.now = Visit(seq, step, look, at)

    def _count(self, visit: Visit, seq: int, at: int, event: Told, decision: Told) -> None:
        """An answer counts, or a command ended the visit."""
        reason = decision["reason"]
        if reason in _NO_ANSWER:
            self._close(visit, None, at, _NO_ANSWER[reason])
            return
        answer = visit.read_back
        if answer is None:
            answer = _answer(at, event, decision)
            visit.tries += 1
        if answer.value:
            self._read(visit, seq, at, answer, decision)
        self._close(visit, answer, at, _COUNTS[decision["kind"]])

    def _close(self, visit: Visit, answer: Answer | None, at: int, how: str) -> None:
        started = (visit.seq, self._nth, visit.step, visit.look, visit.asked)
        ended = (how, visit.tries, visit.not_understood, visit.repeats)
        if answer is None:
            self.visits.append((*started, None, None, None, "", "", *ended, False, False))
        else:
            self.visits.append((
                *started, answer.at, at, on_scale(answer.at - visit.asked), answer.name, answer.who, *ended,
                self._first("step", visit.step), self._first("answer", answer.name),
            ))  # fmt: skip
        self._nth += 1
        self.now = None

    def _refuse(self, seq: int, at: int, event: Told, decision: Told) -> None:
        reason = str(decision["reason"])
        refused = str(decision["rule"]) if reason == "never" else reason
        self.refusals.append((
            seq, at, self.step, refused, reason, str(decision["act"]), str(event.get("phrase", "")),
            self._first("refused", refused),
        ))  # fmt: skip

    def _read(self, visit: Visit, seq: int, at: int, answer: Answer, decision: Told) -> None:
        milli, base = normalised(answer.value, answer.unit)
        within = any(key == "within" for _, key, _ in decision["lines"])
        self.readings.append((
            seq, at, visit.step, answer.limit_name, answer.value, answer.unit, milli, base, within, self._rig,
            self._day, self._first("limit", answer.limit_name),
        ))  # fmt: skip

    def _first(self, what: str, name: str) -> bool:
        """Return whether this is the run's first of a kind, which counts the run."""
        key = (what, name)
        if key in self._seen:
            return False
        self._seen.add(key)
        return True


def _go_on(visit: Visit, kind: str, at: int, event: Told, decision: Told) -> None:
    """Take what happens within a visit into account."""
    if kind == "read-back":
        lines = decision["lines"]
        command = bool(lines) and lines[0][1] == "command-ask"
        visit.read_back = None if command else _answer(at, event, decision)
        visit.tries += not command
    elif kind == "asked-again":
        missed, silence = event["event"] == "not-heard", decision["reason"] == "silence"
        visit.not_understood += missed
        visit.repeats += silence
        visit.tries += not missed and not silence and visit.read_back is None
    elif kind == "repeated":
        visit.repeats += 1
    elif kind == "taken-back":
        visit.read_back = None


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


def _answer(at: int, event: Told, decision: Told) -> Answer:
    who = str(event.get("who", ""))
    if event["event"] != "measured":
        return Answer(at, str(event.get("phrase", "")) or "reading:", who)
    limit = str(decision["rule"])
    return Answer(at, f"reading:{limit}", who, str(event["value"]), str(event["unit"] or ""), limit)
