"""The page's many-runs side: what a request asks for, and the answer as JSON, CSV or Parquet."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from assistant.debrief.asked import WALK_S, Asked, Shown
from assistant.debrief.blocks import Column, Table
from assistant.debrief.folder import Folder
from assistant.debrief.plots import svg
from assistant.debrief.records import lasted
from assistant.debrief.tables import FORMATS, table_bytes
from assistant.debrief.telling import plain
from assistant.debrief.views import VIEWS, Views
from assistant.errors import InputError
from assistant.fleet.filters import Filter

LISTED = 2000
"""Runs in one list; a filter chooses which."""

_PRACTICE: Mapping[str, bool | None] = {"": False, "no": False, "only": True, "both": None}
_COLUMNS = (
    Column("began", "Began (UTC)"), Column("run", "Run"), Column("procedure", "Procedure"), Column("rig", "Rig"),
    Column("site", "Site"), Column("ended", "Ended"), Column("seconds", "Length, s", number=True),
    Column("failures", "Failed couplings", number=True), Column("refusals", "Refusals", number=True),
    Column("misheard", "Not understood", number=True), Column("practice", "Practice"), Column("log", "Log"),
    Column("why", "Why"),
)  # fmt: skip


class Many:
    """Answers what the page asks of many runs. ``walks`` are walking times the trainer named beforehand."""

    def __init__(
        self, folder: Folder, views: Views, walk: int = WALK_S, walks: Mapping[str, int] | None = None
    ) -> None:
        self._folder = folder
        self._views = views
        self._walk = walk
        self._walks = dict(walks or {})

    def head(self) -> dict[str, object]:
        """What the page needs at first: the views there are, what filters can be set to, the walking time."""
        views = [[name, title] for name, (title, _) in VIEWS.items()]
        return {"views": views, "choices": self._views.choices(), "walk": self._walk, "walks": self._walks}

    def runs(self, request: Request) -> Response:
        """The runs chosen, newest first, and what stands in quarantine."""
        return JSONResponse({**self.head(), "folder": str(self._folder.path), "runs": self._rows(request)})

    def view(self, request: Request) -> Response:
        """One view: its tables, and its plots as SVG."""
        shown = self._shown(request)
        return JSONResponse(
            {
                "title": shown.title,
                "question": shown.question,
                "note": shown.note,
                "people": list(shown.people),
                "tables": [table_data(one) for one in shown.tables],
                "plots": [{"svg": svg(one).decode(), "alt": one.alt()} for one in shown.seen],
            }
        )

    def table(self, request: Request) -> Response:
        """A view's table, or the list of runs ("runs"), as a file."""
        query = request.query_params
        name, form = query.get("name", ""), query.get("format", "csv")
        if name == "runs":
            rows = [[one.get(column.name) for column in _COLUMNS] for one in self._rows(request)]
            table = Table("Runs", _COLUMNS, rows)
        else:
            tables, at = self._shown(request).tables, query.get("table", "0")
            if not (at.isascii() and at.isdigit() and int(at) < len(tables)):
                raise InputError("There is no such table.")
            table = tables[int(at)]
        data = table_bytes(table, form)
        headers = {"Content-Disposition": f'attachment; filename="{name}.{form}"'}
        return Response(data, media_type=FORMATS[form], headers=headers)

    def _shown(self, request: Request) -> Shown:
        name = request.query_params.get("name", "")
        shown = self._views.show(name, self.asked(request.query_params))
        if shown is None:
            raise InputError(f'There is no view "{name}".')
        return shown

    def asked(self, query: Mapping[str, str]) -> Asked:
        """Read what was asked from an address; InputError where it cannot be meant."""
        walk = query.get("walk", "") or str(self._walk)
        if not (walk.isascii() and walk.isdigit() and int(walk) <= 3600):
            raise InputError(f'"{walk}" is no walking time: give whole seconds.')
        by_person = query.get("by_person") == "yes"
        return Asked(chosen(query), int(walk), self._walks, by_person, query.get("call_sign", ""))

    def _rows(self, request: Request) -> list[dict[str, Any]]:
        return [self._row(one) for one in self._views.runs(chosen(request.query_params), LISTED)]

    def _row(self, one: dict[str, Any]) -> dict[str, Any]:
        quarantined = bool(one.get("quarantined"))
        source = Path(str(one["path"] if quarantined else one["source"]))
        key = self._folder.know(source.parent) if source.is_file() else ""
        if quarantined:
            name = str(one.get("run") or source.parent.name)
            return {
                "key": key,
                "run": name,
                "began": "",
                "log": "not proven",
                "why": str(one["what"]).removeprefix(f"{source}: "),
            }
        ms = one["duration_ms"]
        return {
            "key": key,
            "run": str(one["run"]),
            "began": str(one["began"]),
            "procedure": plain(str(one["procedure"])),
            "rig": plain(str(one["rig"])),
            "site": plain(str(one["site"])),
            "ended": plain(str(one["outcome"] or "")),
            "length": lasted(int(ms)),
            "seconds": int(ms) // 1000,
            "failures": int(one["failures"]),
            "refusals": _count(one.get("refusals")),
            "misheard": _count(one.get("not_understood")),
            "practice": "practice" if one["practice"] else "",
            "log": {"whole": "whole", "unfinished": "no end"}.get(str(one["state"]), plain(str(one["state"]))),
            "why": "" if key else "The log itself is not on this machine.",
        }


def _count(value: Any) -> int | None:
    return None if value is None or value != value else int(value)  # noqa: PLR0124 - not a number is not itself


def chosen(query: Mapping[str, str]) -> Filter:
    """Read a filter from an address; InputError where it cannot be meant."""
    practice = query.get("practice", "")
    if practice not in _PRACTICE:
        raise InputError('Practice is "no", "only" or "both".')
    names = ("first_month", "last_month", "site", "rig", "procedure")
    return Filter(**{name: query.get(name, "") for name in names}, practice=_PRACTICE[practice])  # type: ignore[arg-type]


def table_data(table: Table) -> dict[str, object]:
    """Return a table as JSON for the page; a masked row says so in place of its numbers."""
    return {
        "caption": table.caption,
        "note": table.note,
        "columns": [{"name": one.name, "title": one.title, "number": one.number} for one in table.columns],
        "rows": [
            {
                column.name: "masked" if value is None and at in table.masked else value
                for column, value in zip(table.columns, row, strict=True)
            }
            for at, row in enumerate(table.rows)
        ],
    }
