"""A report as blocks: what stands in it, before anyone says how it is printed. Plain data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from assistant.debrief.drawing import Shape

SHORT = 26
"""Letters of a text that fits on one line of a narrow column."""

Cell: TypeAlias = str | int | float | None
"""None is what is masked, or not there; the table's ``masked`` tells which."""


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; ``level`` 1 is the report's own title."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph. ``look``: "plain", "quiet" (small), "box" (framed), "alarm" (framed, not to be missed)."""

    text: str
    look: Literal["plain", "quiet", "box", "alarm"] = "plain"
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its name for programs, its title for people, whether it holds numbers."""

    name: str
    title: str
    number: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table. ``rows`` are in the order of ``columns``; ``masked`` the positions of rows whose numbers are masked."""

    caption: str
    columns: tuple[Column, ...]
    rows: Sequence[Sequence[Cell]]
    masked: frozenset[int] = frozenset()
    note: str = ""

    def short(self, at: int) -> bool:
        """Whether a column holds only short texts, which are not broken into lines."""
        texts = (str(row[at]) for row in self.rows if row[at] is not None)
        return max((len(text) for text in texts), default=0) <= SHORT


@dataclass(frozen=True, slots=True)
class Timelined:
    """A drawn timeline and what it shows in words."""

    shapes: tuple[Shape, ...]
    alt: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot of ``inches`` width and height; ``alt`` says in words what it shows.

    ``drawn`` gives it as "svg" or, for paper, as "png": drawn when it is wanted, for it takes a while.
    """

    drawn: Callable[[str], bytes]
    inches: tuple[float, float]
    alt: str


Block: TypeAlias = Heading | Text | Items | Table | Timelined | Picture


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report; ``lang`` is the language of what was said."""

    title: str
    lang: str
    blocks: tuple[Block, ...] = field(default=())


MASKED = "masked"
"""What stands for a number that is masked: the group is too small to be told apart from its people."""
