"""A report as PDF, by reportlab (BSD), in the looks of the printed sheet: the optional extra ``sheet``."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final
from xml.sax.saxutils import escape

from assistant.debrief.blocks import MASKED, Block, Heading, Items, Picture, Report, Table, Text, Timelined
from assistant.debrief.drawing import HEIGHT, WIDTH, Shape
from assistant.debrief.report_html import shown
from assistant.errors import InputError
from assistant.procedure.sheet_pdf import KOREAN, Page
from assistant.procedure.sheet_pdf import WIDTH as PAPER

# Only after the sheet's own module, which tells in a sentence when the package is missing.
from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, Rect, String  # isort: skip
from reportlab.lib.colors import HexColor  # isort: skip
from reportlab.lib.pagesizes import A4  # isort: skip
from reportlab.lib.styles import ParagraphStyle  # isort: skip
from reportlab.lib.units import mm  # isort: skip
from reportlab.pdfbase import pdfmetrics  # isort: skip
from reportlab.pdfbase.cidfonts import UnicodeCIDFont  # isort: skip
from reportlab.platypus import Image, Paragraph, SimpleDocTemplate, Spacer, TableStyle  # isort: skip
from reportlab.platypus import Table as Grid  # isort: skip

_ROOM: Final = PAPER - 12  # the frame on a page keeps six points free at each side
_TALLEST: Final = 215 * mm  # of a picture, so that its caption fits under it
_HANGUL: Final = re.compile("[\uac00-\ud7a3]")
_LONGEST_CELL: Final = 1_500  # a row must fit on a page
_INK: Final = {
    "lane": ("#ffffff", ""), "lane-odd": ("#eef2f5", ""), "prompt": ("#3f7fb5", ""), "hazard": ("#0b4f8a", "#000000"),
    "hearing": ("#1d7a5f", ""), "reading": ("#1d7a5f", ""), "misheard": ("#ffffff", "#16202a"),
    "wait": ("#ffffff", "#6d7b87"), "device": ("#ffffff", "#9c0d1c"), "clock": ("#ffffff", "#9c0d1c"),
    "interruption": ("#ffffff", "#9c0d1c"), "broken": ("#ffffff", "#9c0d1c"), "refusal": ("#a83200", ""),
    "failure": ("#7a1060", ""), "emergency": ("#9c0d1c", ""), "noise-bar": ("#9aa6b0", ""),
}  # fmt: skip
"""Fill and edge of a shape by the last word of its class; the rest is grey."""


def write_pdf(report: Report, path: Path | io.BytesIO) -> None:
    """Write the report as PDF; InputError when the file cannot be written."""
    font = "Helvetica"
    if report.lang == "ko" or any(_HANGUL.search(text) for text in _texts(report.blocks)):
        pdfmetrics.registerFont(UnicodeCIDFont(KOREAN))
        font = KOREAN
    printer = _Printer(Page(font), font)
    document = SimpleDocTemplate(
        path if isinstance(path, io.BytesIO) else str(path), pagesize=A4, leftMargin=15 * mm, rightMargin=15 * mm,
        topMargin=13 * mm, bottomMargin=14 * mm, title=report.title, author="Hitchcall", lang=report.lang,
    )  # fmt: skip
    story = [part for block in report.blocks for part in printer.parts(block)]
    try:
        document.build(story, onFirstPage=printer.page.foot, onLaterPages=printer.page.foot)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror}); name another file.") from None


def _texts(blocks: Iterable[Block]) -> Iterable[str]:
    for block in blocks:
        match block:
            case Heading(text) | Text(text):
                yield text
            case Items(items):
                yield from items
            case Table(caption, _, rows):
                yield caption
                yield from (str(cell) for row in rows for cell in row)


class _Printer:
    def __init__(self, page: Page, font: str) -> None:
        self.page = page
        self._latin = font != KOREAN
        self._font = font
        head = {"fontName": page.bold, "keepWithNext": True, "spaceBefore": 8, "spaceAfter": 3}
        self._heads = {
            1: page.title,
            2: ParagraphStyle("h2", fontSize=13, leading=16, **head),
            3: ParagraphStyle("h3", fontSize=11, leading=14, **head),
        }
        self._cell = ParagraphStyle("cell", parent=page.small, wordWrap="CJK" if not self._latin else None)
        self._looks = {
            "plain": ParagraphStyle("plain", parent=page.text, fontSize=10, leading=13, spaceAfter=2),
            "quiet": ParagraphStyle("quiet", parent=page.small, textColor=HexColor("#46535f"), spaceAfter=3),
            "box": page.box,
            "alarm": ParagraphStyle("alarm", parent=page.box, borderWidth=3, borderColor=HexColor("#9c0d1c"),
                                    fontName=page.bold),
        }  # fmt: skip

    def parts(self, block: Block) -> list[object]:
        """Return a block as reportlab's parts."""
        match block:
            case Heading(text, level):
                return [Paragraph(self.safe(text), self._heads[level])]
            case Text(text, look, lead):
                first = f'<font name="{self.page.bold}">{self.safe(lead)}</font> ' if lead else ""
                return [Paragraph(first + self.safe(text), self._looks[look])]
            case Items(items):
                plain = self._looks["plain"]
                style = ParagraphStyle("item", parent=plain, leftIndent=10, bulletIndent=2)
                return [Paragraph(self.safe(one), style, bulletText="-") for one in items]
            case Table():
                return self._table(block)
            case Timelined(shapes, alt):
                return [_drawn(shapes, self._font, self.latin), Paragraph(self.safe(alt), self._looks["quiet"])]
            case Picture(drawn, (wide, high), alt):
                share = min(1.0, _TALLEST / (_ROOM * high / wide))
                image = Image(io.BytesIO(drawn("png")), width=_ROOM * share, height=_ROOM * share * high / wide)
                return [Spacer(1, 2 * mm), image, Paragraph(self.safe(alt), self._looks["quiet"])]

    def safe(self, text: str) -> str:
        """Return a text as content, not as the paragraph's own markup."""
        return escape(self.latin(text))

    def latin(self, text: str) -> str:
        """Return a text with "?" for what the font has no letter for."""
        shown_text = text if len(text) <= _LONGEST_CELL else text[:_LONGEST_CELL] + " ..."
        return shown_text.encode("cp1252", "replace").decode("cp1252") if self._latin else shown_text

    def _table(self, table: Table) -> list[object]:
        head = [Paragraph(f'<font name="{self.page.bold}">{self.safe(one.title)}</font>', self._cell)
                for one in table.columns]  # fmt: skip
        rows: list[list[object]] = [head]
        for at, row in enumerate(table.rows):
            texts = [MASKED if value is None and at in table.masked else shown(value) for value in row]
            rows.append([Paragraph(self.safe(text), self._cell) for text in texts])
        grid = Grid(rows, colWidths=_widths(table), repeatRows=1)
        grid.setStyle(
            TableStyle(
                [
                    ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LINEBELOW", (0, 0), (-1, -1), 0.4, HexColor("#c3ccd4")),
                    ("BACKGROUND", (0, 0), (-1, 0), HexColor("#eef2f5")), ("LEFTPADDING", (0, 0), (-1, -1), 3),
                    ("RIGHTPADDING", (0, 0), (-1, -1), 3), ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                ]
            )
        )  # fmt: skip
        note = [Paragraph(self.safe(table.note), self._looks["quiet"])] if table.note else []
        return [Paragraph(self.safe(table.caption), self._looks["quiet"]), grid, *note, Spacer(1, 2 * mm)]


def _widths(table: Table) -> list[float]:
    """Share the paper's width by how long the texts of each column are, within reason."""
    longest = []
    for at, column in enumerate(table.columns):
        texts = sorted(len(shown(row[at])) for row in table.rows) or [0]
        wide = texts[-1] if table.short(at) else min(60, texts[len(texts) * 9 // 10])
        longest.append(max(7, len(column.title) + 1, wide + 1))
    return [_ROOM * size / sum(longest) for size in longest]


def _drawn(shapes: Iterable[Shape], font: str, latin: object) -> Drawing:
    """Return the timeline as a drawing; its y runs down, the paper's runs up."""
    scale = _ROOM / WIDTH
    drawing = Drawing(_ROOM, HEIGHT * scale)
    drawing.transform = (scale, 0, 0, -scale, 0, HEIGHT * scale)
    for one in shapes:
        made = _element(one, font, latin)
        if made is not None:
            drawing.add(made)
    return drawing


def _element(shape: Shape, font: str, latin: object) -> object:
    at = shape.attributes
    fill, edge = _INK.get(at["class"].split()[-1], ("#6d7b87", ""))
    ink = {"fillColor": HexColor(fill), "strokeColor": HexColor(edge) if edge else None, "strokeWidth": 1}

    def number(name: str) -> float:
        return float(at[name])

    match shape.tag:
        case "rect":
            return Rect(number("x"), number("y"), number("width"), number("height"), **ink)
        case "circle":
            return Circle(number("cx"), number("cy"), number("r"), **ink)
        case "polygon":
            return Polygon([float(part) for part in re.split("[ ,]", at["points"])], **ink)
        case "line":
            return Line(number("x1"), number("y1"), number("x2"), number("y2"), strokeColor=HexColor("#6d7b87"),
                        strokeWidth=0.7)  # fmt: skip
        case _:
            return _text(shape, font, latin)


def _text(shape: Shape, font: str, latin: object) -> object:
    from reportlab.graphics.shapes import Group  # noqa: PLC0415 - beside its only use

    at = shape.attributes
    anchor = at.get("text-anchor", "end" if at["class"] == "break-text" else "start")
    told = latin(shape.text) if callable(latin) else shape.text
    # Upright again: the whole drawing is upside down.
    return Group(
        String(0, 0, told, fontName=font, fontSize=11, textAnchor=anchor),
        transform=(1, 0, 0, -1, float(at["x"]), float(at["y"])),
    )
