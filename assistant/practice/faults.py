"""Faults a trainer can put into the rig: what is wrong, where it shows, and what a careful trainee answers.

They stand in ``faults.toml``; what each does to the rig, in `putting`. Pure: a draw by difficulty takes
its chance from outside.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Protocol

from assistant.errors import InputError
from assistant.practice.putting import FITS, PUT
from assistant.practice.truth import Fit, Truth

GIVE_UP: Final = "give up"
READING: Final = "reading"
LOOK: Final = "look"


class Chance(Protocol):
    """The part of ``random.Random`` a draw needs."""

    def choice(self, seq: Sequence[str], /) -> str:
        """Return one of ``seq``."""

    def random(self) -> float:
        """Return a number from 0 up to 1."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with the rig; ``hard`` from 1 (plain to see) to 3 (easily missed).

    It shows at any of ``looks`` and is told by any of ``says``: a phrase, "give up", "reading" or "look".
    ``also`` are faults it brings along.
    """

    id: str
    what: str
    procedures: tuple[str, ...]
    looks: tuple[str, ...]
    says: tuple[str, ...]
    hard: int
    also: tuple[str, ...]

    def applies(self, procedure: str, fit: Fit) -> bool:
        """Whether the fault means anything in a procedure on a rig."""
        return procedure in self.procedures and (self.id not in FITS or FITS[self.id](fit))

    def put(self, truth: Truth) -> Truth:
        """Return the rig with the fault in it."""
        have = truth.fit.faults | {self.id, *self.also}
        faulty = truth.but(fit=replace(truth.fit, faults=have))
        for name in (self.id, *self.also):
            faulty = PUT[name](faulty) if name in PUT else faulty
        return faulty


def _fault(name: str, told: Mapping[str, Any]) -> Fault:
    return Fault(
        name, told["what"], tuple(told["in"]), tuple(told["looks"]), tuple(told["says"]), told["hard"],
        tuple(told.get("also", ())),
    )  # fmt: skip


_FILE: Final = Path(__file__).with_name("faults.toml")
FAULTS: Final[Mapping[str, Fault]] = {
    name: _fault(name, told) for name, told in tomllib.loads(_FILE.read_text("utf-8")).items()
}
"""Every fault by its id."""


def seeded(truth: Truth, ids: Iterable[str]) -> Truth:
    """Return the rig with faults put in; InputError for an id that is none."""
    for name in ids:
        if name not in FAULTS:
            raise InputError(f"There is no fault {name!r}; `hitchcall practise --fault list` names them.")
        truth = FAULTS[name].put(truth)
    return truth


def fitting(procedure: str, fit: Fit) -> list[Fault]:
    """Return the faults that mean anything in a procedure on a rig, in the order of the table."""
    return [fault for fault in FAULTS.values() if fault.applies(procedure, fit)]


def drawn(procedure: str, fit: Fit, difficulty: int, chance: Chance) -> tuple[str, ...]:
    """Draw faults by difficulty: 0 none, 1 one plain one, 2 one or two, 3 two of any kind and perhaps a slope."""
    if difficulty <= 0:
        return ()
    open_to = [fault.id for fault in fitting(procedure, fit) if fault.hard <= difficulty and fault.id != "slope"]
    wanted = {1: 1, 2: 1 + (chance.random() < 0.4)}.get(difficulty, 2)
    out: list[str] = []
    while open_to and len(out) < wanted:
        out.append(chance.choice(open_to))
        open_to = [one for one in open_to if one != out[-1] and not (one in PUT and out[-1] in PUT)]
    if difficulty >= 3 and chance.random() < 0.3:
        out.append("slope")
    return tuple(out)
