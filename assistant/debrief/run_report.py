"""The report on one run: first whether its log stands up, then what happened. Pure over moments."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from assistant.debrief.blocks import Block, Column, Heading, Items, Report, Table, Text, Timelined
from assistant.debrief.drawing import drawing
from assistant.debrief.folder import Folder, Run
from assistant.debrief.moments import Fact, Lane, Moment, What
from assistant.debrief.notes import Notes
from assistant.debrief.payload import run_head
from assistant.debrief.records import clock, lasted
from assistant.debrief.telling import Telling, plain

CAUTION: Final = (
    "Hitchcall advises. It measures nothing on the vehicle and replaces no inspection, law, maker's instruction or "
    "training. A log shows what was asked, said, heard and decided; it cannot show whether what was said was true."
)
MOST_MOMENTS: Final = 6_000
_DRAWN: Final = 600  # moments of one drawing
_SHOWN: Final = frozenset({What.DECISION, What.REFUSAL, What.FAILURE, What.READING, What.WAIT, What.MISHEARD,
                           What.EMERGENCY, What.BEGIN, What.END})  # fmt: skip


def run_report(folder: Folder, run: Run, notes: Sequence[Notes]) -> Report:
    """Return the report on a run; raises LogError when its log cannot be read at all."""
    with folder.lock:
        log, told = folder.log(run)
        verdict = folder.verdict(run)
        head = run_head(folder, run, verdict, told)
        telling = folder.telling(run)
        moments: list[Moment] = []
        more, number = True, 0
        while more and len(moments) < MOST_MOMENTS:
            page = log.page(number)
            moments += page.moments
            more, number = page.more, number + 1
    blocks = (
        *_head(head), *_check(head), *_what_happened(moments, more=more), *_refusals(moments, telling),
        *_readings(moments), *_notes(notes, moments), Heading("To bear in mind"), Text(CAUTION, "box"),
    )  # fmt: skip
    return Report(f"{head['title']}, {head['began']} UTC", str(head["lang"]), blocks)


def _head(head: dict[str, object]) -> Iterator[Block]:
    yield Heading(str(head["title"]), 1)
    told = [("Began", f"{head['began']} UTC"), ("Length", head["length"]), ("Rig", head["rig"]),
            ("Order", head["site"]), ("Crew", head["crew"]), ("Run", head["run"])]  # fmt: skip
    yield Text("; ".join(f"{name}: {value}" for name, value in told if value))
    if head["practice"]:
        yield Text("A practice run.", "box")


def _check(head: dict[str, object]) -> Iterator[Block]:
    yield Heading("Does the log stand up?")
    if head["banner"]:
        yield Text(str(head["banner"]), "alarm")
    lines, notes = head["check"], head["notes"]
    assert isinstance(lines, list)  # noqa: S101 - as `run_head` makes them
    assert isinstance(notes, list)  # noqa: S101
    yield Items(tuple(map(str, (*lines, *notes))))


def _what_happened(moments: Sequence[Moment], *, more: bool) -> Iterator[Block]:
    yield Heading("What happened")
    if more:
        yield Text(f"The log is long; this report holds its first {MOST_MOMENTS} moments.", "box")
    yield Table(
        "In figures",
        (Column("what", "What"), Column("count", "How often", number=True)),
        [(name, count) for name, count in counts(moments) if count],
    )
    for at in range(0, len(moments), _DRAWN):
        part = moments[at : at + _DRAWN]
        yield Timelined(tuple(drawing(part)), _alt(part))
    rows = [(clock(one.at), one.title, one.text, _step(one)) for one in moments if _tells(one)]
    yield Table(
        "What was decided, in order",
        (Column("clock", "Clock"), Column("title", "What"), Column("text", "In words"), Column("step", "Asked then")),
        rows,
    )


def _tells(one: Moment) -> bool:
    """Whether a moment stands in the order of events: each thing said once, by what it came to."""
    if one.what is What.MISHEARD:
        return one.lane is Lane.SAID  # there are the words, too
    return one.lane is Lane.TABLET or (one.lane is Lane.DECIDED and one.what in _SHOWN)


def counts(moments: Iterable[Moment]) -> list[tuple[str, int]]:
    """Return how often each thing happened, in the words of the report."""
    decided = [one for one in moments if one.lane is Lane.DECIDED]
    return [
        ("Answers that counted", sum(one.title in {"Counts", "Reading within its limit"} for one in decided)),
        ("Refusals", sum(one.what is What.REFUSAL for one in decided)),
        ("Failed couplings, readings outside a limit, fresh starts", sum(one.what is What.FAILURE for one in decided)),
        ("Not understood", sum(one.what is What.MISHEARD for one in decided)),
        ("Said again on asking", sum(one.title == "Repeated" for one in decided)),
        ("Taken back", sum(one.title == "Taken back" for one in decided)),
        ("Asked again after silence", sum(one.title == "No answer" for one in decided)),
        ("Emergency stops", sum(one.what is What.EMERGENCY for one in decided)),
    ]


def _alt(moments: Sequence[Moment]) -> str:
    told = ", ".join(f"{name.lower()} {count}" for name, count in counts(moments) if count)
    return f"Timeline from {clock(moments[0].start)} to {clock(moments[-1].at)}: {told or 'nothing decided'}."


def _step(one: Moment) -> str:
    number = f"{one.step_number}. " if one.step_number else ""
    return f"{number}{one.step}" if one.step else ""


def _refusals(moments: Sequence[Moment], telling: Telling) -> Iterator[Block]:
    found = [(at, one) for at, one in enumerate(moments) if one.mistake]
    yield Heading("Refusals and failures")
    if not found:
        yield Text("None.")
    for at, one in found:
        yield Heading(f"{clock(one.at)} {one.title}", 3)
        yield Text(one.text)
        if one.why is not None:
            yield Text(f"{one.why.text} {one.why.rests_on}", "box", one.why.signal)
            if one.why.facts:
                yield Text(f"As it stood: {_facts(one.why.facts, telling)}.")
            if one.why.source:
                yield Text(f"Source: {one.why.source}", "quiet")
        if one.before:
            yield Text("What the driver had been told in the minute before:")
            yield Items(tuple(f"{lasted(one.at - told.at)} before: {told.text}" for told in one.before))
        until = _facts_until(moments, at) if one.what is What.FAILURE else one.facts or ()
        if until:
            yield Text(f"Believed then: {_facts(until, telling)}.", "quiet")


def _facts_until(moments: Sequence[Moment], at: int) -> tuple[Fact, ...]:
    return next((one.facts for one in reversed(moments[:at]) if one.facts is not None), ())


def _facts(facts: Iterable[Fact], telling: Telling) -> str:
    return "; ".join(
        f"{plain(fact.name)} {telling.value(fact.value)}{' (in doubt)' if fact.doubt else ''}" for fact in facts
    )


def _readings(moments: Sequence[Moment]) -> Iterator[Block]:
    rows = [(clock(one.at), one.title, one.text, _step(one)) for one in moments
            if one.lane is Lane.DECIDED and one.title.startswith("Reading")]  # fmt: skip
    yield Heading("Readings")
    if not rows:
        yield Text("None was asked for.")
        return
    columns = (Column("clock", "Clock"), Column("title", "Outcome"), Column("text", "Reading and limit"),
               Column("step", "Asked next"))  # fmt: skip
    yield Table("Readings that were confirmed, each with its limit and source", columns, rows)


def _notes(found: Sequence[Notes], moments: Sequence[Moment]) -> Iterator[Block]:
    yield Heading("Trainer's notes")
    at = {one.number: clock(one.at) for one in moments}
    if not any(notes.notes or notes.fault for notes in found):
        yield Text("None.")
    for notes in found:
        if notes.fault:
            yield Text(f"The notes in {notes.path.name} do not stand up. {notes.fault}", "alarm")
        for note in notes.notes:
            when = note.wall[:16].replace("T", " ")
            yield Text(note.text, lead=f"{at.get(note.moment, '')}".strip())
            yield Text(f"Written {when} UTC, signed with the key {notes.by}{'; not proven' if notes.fault else ''}.",
                       "quiet")  # fmt: skip
