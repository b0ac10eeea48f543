"""A report as one HTML file that needs nothing else: no script, no outside resource, made to be printed."""

from __future__ import annotations

import base64
from html import escape
from typing import Final

from assistant.debrief.blocks import MASKED, Block, Cell, Heading, Items, Picture, Report, Table, Text, Timelined
from assistant.debrief.drawing import as_svg

STYLE: Final = """
@page { size: A4; margin: 14mm }
* { box-sizing: border-box }
body { font: 11pt/1.4 "DejaVu Sans", "Noto Sans", "Noto Sans CJK KR", sans-serif; color: #16202a; background: #fff; max-width: 210mm; margin: 0 auto; padding: 6mm }
h1 { font-size: 18pt; margin: 0 0 2mm } h2 { font-size: 13.5pt; margin: 7mm 0 2mm; border-bottom: 1pt solid #16202a } h3 { font-size: 11.5pt; margin: 5mm 0 1mm }
p { margin: 1mm 0; overflow-wrap: anywhere } ul { margin: 1mm 0; padding-left: 5mm }
.quiet { font-size: 9pt; color: #46535f } .lead { font-weight: bold; margin-right: 2mm }
.box { border: 1.2pt solid #46535f; padding: 2mm 3mm } .alarm { border: 3pt solid #9c0d1c; border-left-width: 9pt; padding: 2mm 3mm; font-weight: bold }
table { border-collapse: collapse; width: 100%; margin: 2mm 0; font-size: 9.5pt } caption { text-align: left; color: #46535f; padding: 1mm 0 }
th, td { text-align: left; vertical-align: top; padding: .8mm 1.5mm; border-bottom: .5pt solid #c3ccd4 } .long { overflow-wrap: anywhere } thead { display: table-header-group } th { background: #eef2f5 }
tbody th { background: none; font-weight: normal } .number { text-align: right; font-variant-numeric: tabular-nums } td.number { white-space: nowrap } .short { white-space: nowrap } .masked { font-style: italic; color: #46535f }
tr, .box, .alarm, figure { break-inside: avoid } h2, h3 { break-after: avoid }
figure { margin: 2mm 0 } figure img, .timeline { width: 100%; height: auto; border: .5pt solid #c3ccd4 }
.timeline text { font-size: 11px; fill: #16202a } .lane { fill: #fff } .lane-odd { fill: #eef2f5 } .tick, .lead-line, .lead { stroke: none } .timeline .lead, .tick { stroke: #6d7b87; stroke-width: .7 }
.break { stroke: #6d7b87; stroke-dasharray: 3 2 } .timeline .break-text { font-size: 10px; text-anchor: end } .timeline .time { font-size: 10px }
.m { fill: #6d7b87 } .m.prompt { fill: #3f7fb5 } .m.hazard { fill: #0b4f8a; stroke: #000 } .m.hearing, .m.reading { fill: #1d7a5f } .m.misheard { fill: #fff; stroke: #16202a; stroke-dasharray: 3 2 }
.m.wait { fill: #fff; stroke: #6d7b87; stroke-width: 2 } .m.device, .m.clock, .m.interruption, .m.broken { fill: #fff; stroke: #9c0d1c; stroke-width: 2.5 }
.m.refusal { fill: #a83200 } .m.failure { fill: #7a1060 } .m.emergency { fill: #9c0d1c } .timeline .word { font-weight: bold } .noise-bar { fill: #9aa6b0 }
@media print { body { padding: 0; max-width: none } }
""".strip()  # noqa: E501 - a style sheet reads better so

POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
"""What a browser may do with the file: show it. Should a text ever get out of its place, it still runs nothing."""


_LONGEST_WORD: Final = 30


def to_html(report: Report) -> str:
    """Return the report as one HTML file."""
    body = "\n".join(_block(block) for block in report.blocks)
    return (
        f'<!doctype html>\n<html lang="{escape(report.lang)}"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(report.title)}</title><style>{STYLE}</style></head><body><main>\n{body}\n</main></body></html>\n"
    )


def _block(block: Block) -> str:
    match block:
        case Heading(text, level):
            return f"<h{level}>{escape(text)}</h{level}>"
        case Text(text, look, lead):
            first = f'<span class="lead">{escape(lead)}</span>' if lead else ""
            return f'<p class="{look}">{first}{escape(text)}</p>'
        case Items(items):
            return "<ul>" + "".join(f"<li>{escape(one)}</li>" for one in items) + "</ul>"
        case Table():
            return _table(block)
        case Timelined(shapes, alt):
            return f"<figure>{as_svg(shapes, alt)}<figcaption class=quiet>{escape(alt)}</figcaption></figure>"
        case Picture(drawn, _, alt):
            data = base64.b64encode(drawn("svg")).decode()
            caption = f"<figcaption class=quiet>{escape(alt)}</figcaption>"
            return f'<figure><img alt="{escape(alt)}" src="data:image/svg+xml;base64,{data}">{caption}</figure>'


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col"{_look(one.number)}>{escape(one.title)}</th>' for one in table.columns)
    rows = []
    short = [table.short(place) for place in range(len(table.columns))]
    for at, row in enumerate(table.rows):
        cells = []
        for place, (column, value) in enumerate(zip(table.columns, row, strict=True)):
            masked = value is None and at in table.masked
            tag = "th" if place == 0 else "td"
            scope = ' scope="row"' if place == 0 else ""
            look = ' class="masked"' if masked else _look(column.number, shown(value), short=short[place])
            cells.append(f"<{tag}{scope}{look}>{escape(MASKED if masked else shown(value))}</{tag}>")
        rows.append(f"<tr>{''.join(cells)}</tr>")
    note = f'<p class="quiet">{escape(table.note)}</p>' if table.note else ""
    return (
        f"<table><caption>{escape(table.caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table>{note}"
    )


def _look(number: bool, text: str = "", *, short: bool = False) -> str:
    """The class of a cell: numbers to the right, short texts unbroken, a word longer than a line broken anywhere."""
    if number:
        return ' class="number"'
    if max(map(len, text.split()), default=0) > _LONGEST_WORD:
        return ' class="long"'
    return ' class="short"' if short else ""


def shown(value: Cell) -> str:
    """Return a cell for people: numbers without a needless fraction."""
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)
