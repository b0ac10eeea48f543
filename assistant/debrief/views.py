"""The many-runs views over a fleet store: each a question, its tables and its plots.

Every number comes from `assistant.fleet`; here it only gets its words. Groups too small to be told from
their people arrive masked, and stay so. Nobody is ranked: rows stand in the order of a procedure or of names.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from assistant.debrief.asked import Asked, Shown
from assistant.debrief.names import Names
from assistant.debrief.views_ears import understood
from assistant.debrief.views_person import person
from assistant.debrief.views_rig import readings
from assistant.debrief.views_work import failures, fast, refusals, times
from assistant.fleet import figures, pages
from assistant.fleet.filters import Filter
from assistant.fleet.store import Store

View = Callable[[Store, Names, Asked], Shown]

VIEWS: Final[Mapping[str, tuple[str, View]]] = {
    "times": ("Times", times),
    "refusals": ("Refusals", refusals),
    "understood": ("Not understood", understood),
    "fast": ("Answered too fast", fast),
    "failures": ("Failures", failures),
    "readings": ("Readings", readings),
    "person": ("One and the group", person),
}


class Views:
    """All views over one store."""

    def __init__(self, store: Store, own: Path | None = None) -> None:
        self.store = store
        self._names = Names(own)

    def show(self, name: str, asked: Asked) -> Shown | None:
        """Work a view out; None when there is no such view. Raises InputError or LogError."""
        made = VIEWS.get(name)
        return made[1](self.store, self._names, asked) if made else None

    def runs(self, chosen: Filter, most: int = 2000) -> list[dict[str, Any]]:
        """Return the runs chosen as rows, newest first, and after them what stands in quarantine."""
        found: list[dict[str, Any]] = []
        for one in pages.run_list(self.store, chosen, most=most).to_dict("records"):
            began = datetime.fromtimestamp(int(one["started_wall_ms"]) / 1000, UTC)
            found.append({**one, "began": f"{began:%Y-%m-%d %H:%M}"})
        return found + [{**one, "quarantined": True} for one in pages.quarantined(self.store).to_dict("records")]

    def choices(self) -> dict[str, list[str]]:
        """What a filter can be set to."""
        return figures.choices(self.store)
