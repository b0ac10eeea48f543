"""The printed sheet as PDF, by reportlab (BSD): the optional extra ``sheet``."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

from assistant.errors import DeviceError, InputError
from assistant.procedure.sheet import Sheet, SheetStep

try:
    from reportlab.lib.pagesizes import A4
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.lib.units import mm
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.cidfonts import UnicodeCIDFont
    from reportlab.platypus import KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle
except ImportError:
    raise DeviceError(
        "PDF needs the package reportlab; install hitchcall[sheet], or print the HTML sheet instead."
    ) from None

WIDTH = 180 * mm
KOREAN = "HYGothic-Medium"
"""A font every PDF reader brings by itself, so that none is shipped."""


def write_pdf(sheet: Sheet, lang: str, path: Path) -> None:
    """Write the sheet as PDF; InputError when the file cannot be written."""
    font = "Helvetica"
    if lang == "ko":
        pdfmetrics.registerFont(UnicodeCIDFont(KOREAN))
        font = KOREAN
    page = Page(font)
    document = SimpleDocTemplate(
        str(path), pagesize=A4, leftMargin=15 * mm, rightMargin=15 * mm, topMargin=13 * mm, bottomMargin=14 * mm,
        title=sheet.title, author="Hitchcall", lang=lang,
    )  # fmt: skip
    try:
        document.build(page.story(sheet), onFirstPage=page.foot, onLaterPages=page.foot)
    except OSError as error:
        raise InputError(f"{path} cannot be written ({error.strerror}); name another file.") from None


class Page:
    """The looks of a printed page, for all that is printed here: styles of text, a foot with its number."""

    def __init__(self, font: str) -> None:
        bold = font if font == KOREAN else f"{font}-Bold"
        self.font, self.bold = font, bold
        self.title = ParagraphStyle("title", fontName=bold, fontSize=18, leading=22)
        self.text = ParagraphStyle("text", fontName=font, fontSize=11, leading=14)
        self.small = ParagraphStyle("small", fontName=font, fontSize=8.5, leading=10.5)
        self.box = ParagraphStyle(
            "box", fontName=font, fontSize=11, leading=14, borderWidth=1.5, borderColor="black", borderPadding=5,
            spaceBefore=8, spaceAfter=10, leftIndent=5, rightIndent=5,
        )  # fmt: skip

    def strong(self, text: str) -> str:
        """Return a text in bold, as the paragraphs' own markup."""
        return f'<font name="{self.bold}">{escape(text)}</font>'

    def story(self, sheet: Sheet) -> list[object]:
        """Return a whole sheet, in reportlab's own parts."""
        setting = f"{sheet.rig}; {sheet.site}; crew: {sheet.crew}"
        out: list[object] = [
            Paragraph(escape(sheet.title), self.title), Paragraph(escape(setting), self.text), Spacer(1, 4 * mm),
            Paragraph(escape(sheet.caution), self.box),
        ]  # fmt: skip
        out += [KeepTogether([self.step(step)]) for step in sheet.steps]
        out += [Spacer(1, 4 * mm), Paragraph(escape(sheet.end), self.box), Paragraph("Never", self.title)]
        out += [Paragraph(f"{self.strong(signal)} {escape(text)}", self.text) for signal, text in sheet.nevers]
        blank = "_" * 18
        sign = f"Date {blank}   Call sign {blank}   Trailer {blank}"
        out += [Spacer(1, 8 * mm), Paragraph(sign, self.text), Spacer(1, 3 * mm)]
        out += [Paragraph(escape(f"Printed from: {sheet.hashes}"), self.small)]
        return out

    def step(self, step: SheetStep) -> Table:
        """Return one step with its box to tick."""
        rows: list[list[object]] = []
        style: list[tuple[object, ...]] = [
            ("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 1), ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ("TOPPADDING", (0, 0), (-1, 0), 4),
            ("LINEABOVE", (0, 0), (-1, 0), 0.5, "black", None, (3, 2) if step.aside else None),
        ]  # fmt: skip
        if step.hazard:
            rows.append(["", Paragraph(f"{self.strong(step.signal)} {escape(step.hazard)}", self.text), ""])
            style.append(("LINEBEFORE", (1, 0), (1, 0), 4, "black"))
            style.append(("LEFTPADDING", (1, 0), (1, 0), 6))
        who = self.strong("Mate: ") if step.mate else ""
        seen = f" <i>{escape(step.good)}</i>" if step.good and not step.aside and self.font != KOREAN else ""
        if self.font == KOREAN and step.good and not step.aside:
            seen = f" ({escape(step.good)})"
        fill = f" {'_' * 14} {escape(step.unit)}" if step.unit else ""
        number = Paragraph(self.strong(step.number), self.text)
        rows.append([number, Paragraph(f"{who}{escape(step.say)}{seen}{fill}", self.text), ""])
        at = len(rows) - 1
        style.append(("BOX", (2, at), (2, at), 1.2, "black"))
        small = [f"Limit: {step.limit}"] if step.limit else []
        small += [f"If {one.answer}: {one.then}." for one in step.others]
        small += [f"Source: {step.source}"]
        rows += [["", Paragraph(escape(text), self.small), ""] for text in small]
        table = Table(rows, colWidths=[13 * mm, WIDTH - 20 * mm, 7 * mm])
        table.setStyle(TableStyle(style))
        return table

    def foot(self, canvas: object, document: object) -> None:
        """Put the page's number at its foot."""
        canvas.setFont(self.font, 8.5)  # type: ignore[attr-defined]
        canvas.drawRightString(195 * mm, 8 * mm, f"{document.page}")  # type: ignore[attr-defined]
