"""A procedure as a sheet to print, for the day the tablet is dead: what it says, in the order it says it.

``sheet_of`` gathers the sheet as plain data; ``to_html`` writes it as one file that needs nothing
else. The PDF is in ``sheet_pdf.py``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape

from assistant.procedure.load import Files
from assistant.procedure.plan import DONE, FAIL, HALT, RESTART, Plan, PlanLimit, PlanStep

LEADS = {RESTART: "start again; nothing counts from before", FAIL: "failed: do not drive; start again",
         HALT: "do not move; brakes on, chocks in; call for help", DONE: "the end"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Else:
    """Another answer of a step and what to do then."""

    answer: str
    then: str


@dataclass(frozen=True, slots=True)
class SheetStep:
    """One step of a sheet; ``number`` is "4", or "4a" for a step that is only come to when something is wrong."""

    number: str
    say: str
    good: str
    signal: str = ""
    hazard: str = ""
    limit: str = ""
    unit: str = ""
    others: tuple[Else, ...] = ()
    aside: bool = False
    mate: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole sheet."""

    title: str
    rig: str
    site: str
    crew: str
    caution: str
    end: str
    steps: tuple[SheetStep, ...]
    nevers: tuple[tuple[str, str], ...]
    hashes: str


def numbers(plan: Plan) -> dict[int, str]:
    """Return step position → its number on the sheet."""
    out, count, letters = {}, 0, 0
    for index, step in enumerate(plan.steps):
        if step.aside:
            letters += 1
            out[index] = f"{count}{_letter(letters)}"
        else:
            count, letters = count + 1, 0
            out[index] = str(count)
    return out


def _letter(number: int) -> str:
    return chr(ord("a") + number - 1) if number <= 26 else f"z{number - 26}"


def limit_text(limit: PlanLimit) -> str:
    """Return a limit in words and figures, with its source."""
    parts = []
    if limit.low is not None:
        parts.append(f"{'at least' if limit.low[1] else 'more than'} {limit.low[0]:f} {limit.unit}")
    if limit.high is not None:
        parts.append(f"{'at most' if limit.high[1] else 'less than'} {limit.high[0]:f} {limit.unit}")
    return f"{', '.join(parts)}. {limit.source}"


def sheet_of(files: Files, plan: Plan, phrases: Mapping[str, tuple[str, ...]]) -> Sheet:
    """Gather the sheet of one run; ``phrases`` maps a phrase id to the ways to say it."""
    words, yard = files.words, files.yard_words
    number = numbers(plan)
    sources = {step.id: step.source for step in files.procedure.step}
    used = {step.act for step in plan.steps if step.act} | {act.id for act in plan.acts.values() if act.anytime}

    def said(phrase: str) -> str:
        return phrases[phrase][0] if phrase in phrases else phrase

    def then(target: int, here: int) -> str:
        if target in LEADS:
            return LEADS[target]
        again = f"put it right and look again (step {number[here]})"
        return again if target == here else f"go to step {number[target]}"

    def line(index: int, step: PlanStep) -> SheetStep:
        answers = list(step.answers.values())
        good = said(answers[0].phrase) if answers else ""
        others = [Else(said(one.phrase), then(one.next, index)) for one in answers[1:]]
        if answers and step.aside:
            others.insert(0, Else(good, then(answers[0].next, index)))
        reading = step.reading
        if reading is not None:
            others.append(Else("outside the limit", then(reading.outside.next, index)))
        hold = f" Hold it {step.hold.ms // 1000} seconds." if step.hold else ""
        hazard = yard.hazard[step.hazard].say if step.hazard else ""
        signal = yard.signal[plan.hazard_signal[step.hazard]] if step.hazard else ""
        return SheetStep(
            number[index], words.step[step.id].say + hold, good, signal, hazard,
            limit_text(reading.limit) if reading else "", reading.limit.unit if reading else "",
            tuple(others), step.aside, step.who == "mate", sources[step.id],
        )  # fmt: skip

    nevers = tuple(
        (yard.signal[rule.signal], yard.never[rule.id].say) for rule in files.yard.never if rule.act in used
    )
    hashes = ", ".join(f"{name} {digest[:12]}" for name, digest in plan.hashes.items())
    return Sheet(
        words.title, files.rig_title, files.site_title, plan.crew, yard.line["caution"], words.done,
        tuple(line(index, step) for index, step in enumerate(plan.steps)), nevers, hashes,
    )  # fmt: skip


STYLE = """
@page { size: A4; margin: 14mm }
body { font: 11pt/1.35 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto }
h1 { font-size: 18pt; margin: 0 } .setting { margin: 0 0 3mm }
.caution { border: 2pt solid #000; padding: 2mm 3mm; margin: 3mm 0 }
ol { list-style: none; padding: 0; margin: 0 }
li { border-top: .5pt solid #000; padding: 1.6mm 0; page-break-inside: avoid; break-inside: avoid }
.aside { margin-left: 12mm; border-top-style: dashed }
.hazard { border-left: 5pt solid #000; padding-left: 2mm; margin: 0 0 1mm } .signal { font-weight: bold }
.do { display: flex; gap: 3mm; align-items: baseline } .no { min-width: 9mm; font-weight: bold }
.say { flex: 1 } .box { width: 4.5mm; height: 4.5mm; border: 1.2pt solid #000; flex: none }
.fill { border-bottom: .8pt solid #000; min-width: 26mm; display: inline-block }
.small { font-size: 8.5pt; margin: .4mm 0 0 12mm } .sign { margin-top: 6mm }
""".strip()


def to_html(sheet: Sheet, lang: str) -> str:
    """Return the sheet as one HTML file that needs nothing else; prints black on white."""
    never = "".join(f"<li><span class=signal>{escape(s)}</span> {escape(t)}</li>" for s, t in sheet.nevers)
    return (
        f'<!doctype html>\n<html lang="{escape(lang)}"><head><meta charset="utf-8">'
        f"<title>{escape(sheet.title)}</title><style>{STYLE}</style></head><body>\n"
        f"<h1>{escape(sheet.title)}</h1>\n"
        f'<p class="setting">{escape(sheet.rig)}; {escape(sheet.site)}; crew: {escape(sheet.crew)}</p>\n'
        f'<p class="caution">{escape(sheet.caution)}</p>\n'
        f"<ol>\n{''.join(_step_html(step) for step in sheet.steps)}</ol>\n"
        f'<p class="caution">{escape(sheet.end)}</p>\n'
        f"<h2>Never</h2>\n<ol>{never}</ol>\n"
        '<p class="sign">Date <span class=fill></span> Call sign <span class=fill></span> '
        "Trailer <span class=fill></span></p>\n"
        f'<p class="small">Printed from: {escape(sheet.hashes)}</p>\n</body></html>\n'
    )


def _step_html(step: SheetStep) -> str:
    hazard = ""
    if step.hazard:
        hazard = f'<p class="hazard"><span class="signal">{escape(step.signal)}</span> {escape(step.hazard)}</p>'
    who = "Mate: " if step.mate else ""
    fill = f' <span class="fill"></span> {escape(step.unit)}' if step.unit else ""
    seen = f" <i>{escape(step.good)}</i>" if step.good and not step.aside else ""
    rows = [f"Limit: {step.limit}"] if step.limit else []
    rows += [f"If {one.answer}: {one.then}." for one in step.others]
    rows += [f"Source: {step.source}"]
    small = "".join(f'<p class="small">{escape(row)}</p>' for row in rows)
    return (
        f'<li class="{"aside" if step.aside else "step"}">{hazard}<div class="do"><span class="no">{step.number}</span>'
        f'<span class="say">{who}{escape(step.say)}{seen}{fill}</span><span class="box"></span></div>{small}</li>\n'
    )
