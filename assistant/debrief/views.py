"""The many-runs views over a fleet store: each a question, its tables and its plots.

Every number comes from `assistant.fleet`; here it only gets its words. Groups too small to be told from
their people arrive masked, and stay so. Nobody is ranked: rows stand in the order of a procedure or of names.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import pandas as pd

from assistant.debrief.asked import Asked, Shown
from assistant.debrief.names import Names
from assistant.debrief.views_ears import understood
from assistant.debrief.views_person import person
from assistant.debrief.views_rig import readings
from assistant.debrief.views_work import failures, fast, refusals, times
from assistant.fleet import figures, pages
from assistant.fleet.figures import Fleet
from assistant.fleet.filters import Filter

View = Callable[[Fleet, Names, Asked], Shown]

VIEWS: Final[Mapping[str, tuple[str, View]]] = {
    "times": ("Times", times),
    "refusals": ("Refusals", refusals),
    "understood": ("Not understood", understood),
    "fast": ("Answered too fast", fast),
    "failures": ("Failures", failures),
    "readings": ("Readings", readings),
    "person": ("One and the group", person),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """Runs with an end and without one; when the first and the last began, UTC to the minute ("" without runs)."""

    whole: int
    unfinished: int
    first: str
    last: str


class Views:
    """All views over one store, or over an export."""

    def __init__(self, store: Fleet, own: Path | None = None) -> None:
        self.store = store
        self._names = Names(own)

    def show(self, name: str, asked: Asked) -> Shown | None:
        """Work a view out; None when there is no such view. Raises InputError or LogError."""
        made = VIEWS.get(name)
        return made[1](self.store, self._names, asked) if made else None

    def runs(self, chosen: Filter, most: int = 2000) -> list[dict[str, Any]]:
        """Return the runs chosen as rows, newest first, and after them what stands in quarantine."""
        listed = _rows(pages.run_list(self.store, chosen, most=most))
        found = [{**one, "began": _minute(one["started_wall_ms"])} for one in listed]
        return found + [{**one, "quarantined": True} for one in self.quarantined()]

    def quarantined(self) -> list[dict[str, Any]]:
        """Return the files that are not counted, with the reason of each."""
        return _rows(pages.quarantined(self.store))

    def standing(self, chosen: Filter) -> Standing:
        """Return how many of the runs chosen have an end, how many have none, and when they began."""
        found = pages.standing(self.store, chosen)
        ended = found["state"] == "whole"
        span = (_minute(found["first_wall_ms"].min()), _minute(found["last_wall_ms"].max())) if len(found) else ("", "")
        return Standing(int(found["runs"][ended].sum()), int(found["runs"][~ended].sum()), *span)

    def choices(self) -> dict[str, list[str]]:
        """What a filter can be set to."""
        return figures.choices(self.store)


def _rows(found: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in one.items()} for one in found.to_dict("records")]


def _minute(wall_ms: int) -> str:
    return f"{datetime.fromtimestamp(int(wall_ms) / 1000, UTC):%Y-%m-%d %H:%M}"
