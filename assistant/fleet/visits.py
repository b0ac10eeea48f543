"""What a run's decisions come to: visits of steps, refusals and readings. Pure.

Follows the decisions in the order of the log. A visit begins when a step (or, after an interruption, a
look) is asked and ends when an answer counts, is taken back, or something comes between.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TypeAlias

from assistant.errors import InputError
from assistant.fleet.scale import on_scale
from assistant.fleet.told import Decision, Event
from assistant.phrases.units import convert, kind_of

_BASE = {"pressure": "kPa", "length": "mm", "time": "s", "angle": "deg"}
_ASKED = frozenset({"asking", "looking"})
_COUNTS = {"accepted": "answered", "failed": "failed", "restarted": "restarted", "ended": "answered"}
_ENDS = _COUNTS | {"taken-back": "taken-back"} | dict.fromkeys(
    ("begun", "resumed", "stopped", "waiting", "deaf", "went-on", "hearing-back"), "interrupted"
)  # fmt: skip
_NO_ANSWER = {"asked-for": "restarted", "given-up": "given-up"}
"""Reasons of a command, not of the step's answer."""


Answer: TypeAlias = tuple[int, str, str, str, str, str]
"""What was said and may count: when, the phrase's id or "reading:" and a limit's name, who, and the value said, its
unit and that limit's name, "" each for a phrase. A plain tuple: one is made for every answer of every run."""


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
    __slots__ = (
        "_answers", "_day", "_limits", "_nth", "_refused", "_rig", "_steps", "failures", "now", "readings", "refusals",
        "visits",
    )  # fmt: skip

    def __init__(self, rig: str, day: int) -> None:
        self._rig, self._day = rig, day
        self.visits: list[tuple[object, ...]] = []
        self.refusals: list[tuple[object, ...]] = []
        self.readings: list[tuple[object, ...]] = []
        self.failures = self._nth = 0
        self.now: Visit | None = None
        self._steps: set[str] = set()  # these four have been met in the run: its first of each counts the run
        self._answers: set[str] = set()
        self._refused: set[str] = set()
        self._limits: set[str] = set()

    @property
    def step(self) -> str:
        """The step that is asked, "" between steps."""
        return self.now.step if self.now else ""

    def take(self, seq: int, at: int, event: Event, decision: Decision) -> None:
        """Take the decision in record ``seq`` at ``at`` ms."""
        kind, phase, now = decision.kind, decision.phase, self.now
        if kind == "failed":
            self.failures += 1
        elif kind == "refused":
            self._refuse(seq, at, event, decision)
        if now is not None:
            if kind in _COUNTS:
                self._count(now, seq, at, event, decision)
            else:
                _go_on(now, kind, at, event, decision)
                if kind in _ENDS and (kind != "taken-back" or decision.reason == "last-answer"):
                    self._close(now, _ENDS[kind])
        if phase in _ASKED:
            looks = decision.looks if phase == "looking" else ()
            self._ask(seq, at, looks[0] if looks else decision.step, look=bool(looks))

    def finish(self) -> None:
        """Close what the log's end leaves open."""
        if self.now is not None:
            self._close(self.now, "open")

    def _ask(self, seq: int, at: int, step: str, *, look: bool) -> None:
        now = self.now
        if now is not None and (now.step != step or now.look is not look):
            self._close(now, "interrupted")
            now = None
        if now is None:
            self.now = Visit(seq, step, look, at)

    def _count(self, visit: Visit, seq: int, at: int, event: Event, decision: Decision) -> None:
        """An answer counts, or a command ended the visit."""
        reason = decision.reason
        if reason in _NO_ANSWER:
            self._close(visit, _NO_ANSWER[reason])
            return
        answer = visit.read_back
        if answer is None:
            answer = _answer(at, event, decision)
            visit.tries += 1
        said, name, who, value, _, _ = answer
        if value:
            self._read(visit, seq, at, answer, decision)
        step = visit.step
        self.visits.append((
            visit.seq, self._nth, step, visit.look, visit.asked, said, at, on_scale(said - visit.asked), name, who,
            _COUNTS[decision.kind], visit.tries, visit.not_understood, visit.repeats,
            step not in self._steps, name not in self._answers,
        ))  # fmt: skip
        self._steps.add(step)
        self._answers.add(name)
        self._nth += 1
        self.now = None

    def _close(self, visit: Visit, how: str) -> None:
        """End a visit without an answer that counts."""
        self.visits.append((
            visit.seq, self._nth, visit.step, visit.look, visit.asked, None, None, None, "", "",
            how, visit.tries, visit.not_understood, visit.repeats, False, False,
        ))  # fmt: skip
        self._nth += 1
        self.now = None

    def _refuse(self, seq: int, at: int, event: Event, decision: Decision) -> None:
        reason = decision.reason
        refused = decision.rule if reason == "never" else reason
        self.refusals.append((
            seq, at, self.step, refused, reason, decision.act, event.phrase,
            refused not in self._refused,
        ))  # fmt: skip
        self._refused.add(refused)

    def _read(self, visit: Visit, seq: int, at: int, answer: Answer, decision: Decision) -> None:
        _, _, _, value, unit, limit = answer
        milli, base = normalised(value, unit)
        within = "within" in decision.spoken()
        self.readings.append((
            seq, at, visit.step, limit, value, unit, milli, base, within, self._rig, self._day,
            limit not in self._limits,
        ))  # fmt: skip
        self._limits.add(limit)


def _go_on(visit: Visit, kind: str, at: int, event: Event, decision: Decision) -> None:
    """Take what happens within a visit into account."""
    if kind == "read-back":
        command = decision.spoken()[:1] == ["command-ask"]
        visit.read_back = None if command else _answer(at, event, decision)
        visit.tries += not command
    elif kind == "asked-again":
        missed, silence = event.event == "not-heard", decision.reason == "silence"
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


def _answer(at: int, event: Event, decision: Decision) -> Answer:
    who = event.who
    if event.event != "measured":
        return at, event.phrase or "reading:", who, "", "", ""
    if not event.value:
        raise ValueError("a measured value is missing")
    limit = decision.rule
    return at, f"reading:{limit}", who, event.value, event.unit or "", limit
