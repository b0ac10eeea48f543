"""The nodes of an exploration and how each was first reached; and who watches while it goes on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from assistant.engine.state import Decision, State
from assistant.procedure.plan import Facts, Plan
from assistant.proof.moves import Move


class Node(NamedTuple):
    """A state as the exploration keeps it, with which facts (bits) were seen, now and at the undo."""

    state: State
    seen: int = 0
    undo_seen: int = 0


class Watch(Protocol):
    """Who is told of everything tried."""

    def edge(self, before: int, move: Move, decision: Decision, after: int) -> None:
        """At node ``before``, ``move`` came to ``decision``, which leads to node ``after``."""

    def announced(self, before: int, move: Move, state: State, decision: Decision) -> None:
        """In ``state``, to which ``move`` led from node ``before``, an act was announced."""


class Nobody:
    """Watches nothing."""

    def edge(self, before: int, move: Move, decision: Decision, after: int) -> None:
        """Do nothing."""

    def announced(self, before: int, move: Move, state: State, decision: Decision) -> None:
        """Do nothing."""


@dataclass(slots=True)
class Space:
    """All nodes reached, in order of distance from the start; ``parent`` is how each was first reached.

    ``pairs`` are the (step, facts) in which a step is asked, ``edges`` the decisions that led from one
    node to another, ``decisions`` all calls of the engine.
    """

    plan: Plan
    nodes: list[Node] = field(default_factory=list)
    parent: list[tuple[int, Move] | None] = field(default_factory=list)
    pairs: set[tuple[int, Facts]] = field(default_factory=set)
    edges: int = 0
    decisions: int = 0

    def path(self, index: int) -> list[Move]:
        """Return the shortest list of moves from the start to a node."""
        out: list[Move] = []
        while (step := self.parent[index]) is not None:
            index, move = step
            out.append(move)
        return out[::-1]
