"""The report on a folder: which logs do not stand up, then every figure with its masks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

from assistant.debrief.asked import Asked
from assistant.debrief.blocks import Block, Column, Heading, Items, Report, Table, Text
from assistant.debrief.plots import picture
from assistant.debrief.run_report import CAUTION
from assistant.debrief.views import VIEWS, Views
from assistant.fleet.filters import EVERYTHING

_MOST = 200
"""Logs in quarantine that are named one by one."""


def folder_report(folder: Path, views: Views, walk: int, walks: Mapping[str, int]) -> Report:
    """Return the report on all runs taken in; raises LogError when the store does not answer."""
    asked = Asked(EVERYTHING, walk, walks)
    blocks = [*_head(folder, views)]
    for name, (title, _) in VIEWS.items():
        shown = views.show(name, asked) if name != "person" else None
        if shown is None:
            continue  # nobody is singled out in a report on all
        blocks += [Heading(title), Text(shown.question)]
        blocks += [picture(plot) for plot in shown.seen]
        for table in shown.tables:
            blocks.append(table if table.rows else Text(f"{table.caption}: nothing was counted."))
        if name == "readings":
            blocks.append(Text(shown.note, "quiet"))
    blocks += [Heading("To bear in mind"), Items((MASKS, WALK.format(walk=walk), PRACTICE)), Text(CAUTION, "box")]
    return Report(f"Runs in {folder.name}", "en", tuple(blocks))


MASKS = "“masked” stands for groups of fewer than 5 runs or 3 people: too few to be told from the people themselves."
WALK = "“Too fast” holds answers against a walk of {walk} s unless a step has its own; the trainer set it."
PRACTICE = "Practice runs are not among these figures. Nobody is ranked."


def _head(folder: Path, views: Views) -> Iterator[Block]:
    told, bad = views.standing(EVERYTHING), views.quarantined()
    yield Heading(f"Runs in {folder.name}", 1)
    span = f", the first begun {told.first}, the last {told.last} UTC" if told.first else ""
    yield Text(f"{told.whole + told.unfinished} runs at work{span}.")
    yield Heading("Do the logs stand up?")
    yield Items(
        (
            f"{told.whole} logs are whole: signed, chained, none of their records altered.",
            f"{told.unfinished} logs have no end, and are whole as far as they go.",
            f"{len(bad)} files are not proven; they count in no figure.",
        )
    )
    if bad:
        columns = (Column("path", "File"), Column("what", "What is wrong"))
        note = f"The first {_MOST} of {len(bad)}." if len(bad) > _MOST else ""
        yield Table("Not proven", columns, [(str(row["path"]), _what(row)) for row in bad[:_MOST]], note=note)


def _what(row: Mapping[str, object]) -> str:
    return str(row["what"]).removeprefix(f"{row['path']}: ")
