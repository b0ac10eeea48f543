"""The printed sheet and the diagrams say what the run says: a driver with a dead tablet misses nothing."""

from __future__ import annotations

from html import escape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from assistant.engine.table import TABLE
from assistant.errors import InputError
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.procedure.diagram import flowchart, node, phases
from assistant.procedure.sheet import Sheet, sheet_of, to_html
from assistant.procedure.sheet_pdf import write_pdf


@pytest.fixture(scope="module")
def ready() -> Prepared:
    """A shipped run with readings, holds and a mate."""
    return prepare(library(), grammars(), "couple", rig="cab-release", site="us-handbook", crew="mate")


@pytest.fixture(scope="module")
def sheet(ready: Prepared) -> Sheet:
    """Its sheet."""
    return sheet_of(ready.files, ready.plan, ready.book.phrases)


class Reader(HTMLParser):
    """Reads the text of a page and which tags it holds."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.attributes: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep the tag."""
        self.attributes.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        """Keep the text."""
        self.texts.append(data)


def test_every_step_hazard_and_source_is_printed_in_order(ready: Prepared, sheet: Sheet) -> None:
    """The caution comes first; each hazard stands right before its step; no step is missing."""
    page = to_html(sheet, "en")
    at = page.index(escape(ready.files.yard_words.line["caution"]))
    sources = {step.id: step.source for step in ready.files.procedure.step}
    for step in ready.plan.steps:
        if step.hazard:
            at = page.index(escape(ready.files.yard_words.hazard[step.hazard].say), at)
        at = page.index(escape(ready.files.words.step[step.id].say), at)
        at = page.index(escape(sources[step.id]), at)


def test_the_page_needs_nothing_else_and_has_a_box_for_each_step(ready: Prepared, sheet: Sheet) -> None:
    """It prints without a network, and each step can be ticked."""
    reader = Reader()
    reader.feed(to_html(sheet, "en"))
    assert not [tag for tag, given in reader.attributes if {"src", "href"} & set(given) or tag == "script"]
    boxes = [tag for tag, given in reader.attributes if given.get("class") == "box"]
    assert len(boxes) == len(ready.plan.steps)


def test_limits_and_what_to_do_when_it_is_not_so_are_printed(sheet: Sheet) -> None:
    """A number is judged on paper by the same limit; a failed look still sends the driver back or stops him."""
    reading = next(step for step in sheet.steps if step.limit)
    assert reading.limit.startswith("at least 100 psi, at most 145 psi.")
    said = {other.then for step in sheet.steps for other in step.others}
    assert "failed: do not drive; start again" in said
    assert "do not move; brakes on, chocks in; call for help" in said


def test_the_pdf_is_written_and_a_bad_place_is_told(sheet: Sheet, tmp_path: Path) -> None:
    """The printed sheet exists before the tablet dies; a wrong folder is one plain sentence."""
    write_pdf(sheet, "en", tmp_path / "sheet.pdf")
    data = (tmp_path / "sheet.pdf").read_bytes()
    assert data.startswith(b"%PDF")
    assert data.count(b"/Type /Page\n") >= 8
    with pytest.raises(InputError, match="cannot be written"):
        write_pdf(sheet, "en", tmp_path / "nowhere" / "sheet.pdf")


def test_the_flowchart_holds_every_step_answer_and_rule(ready: Prepared) -> None:
    """What a trainer reads on the wall is what the engine does."""
    drawn = flowchart(ready.plan)
    for step in ready.plan.steps:
        assert f"  {node(step.id)}[" in drawn
        for phrase in step.answers:
            assert f'{node(step.id)} {"==>" if step.answers[phrase].critical else "-->"}|"{phrase}"|' in drawn
        for rule in ready.plan.acts[step.act].rules if step.act else ():
            assert rule.id in drawn


def test_the_phase_diagram_holds_every_move_of_the_table() -> None:
    """The developers' diagram is the engine's own table."""
    drawn = phases(TABLE).splitlines()
    for trigger, sources, dests in TABLE:
        for source in sources:
            for dest in dests:
                moves = [line for line in drawn if line.startswith(f"  {source} --> {dest}: ")]
                assert source is dest or (len(moves) == 1 and trigger in moves[0])
