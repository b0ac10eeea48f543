"""What the page gets: plain JSON of runs, moments and notes, made from the same data as the reports."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from assistant.debrief.drawing import as_data, drawing
from assistant.debrief.folder import Folder, Run, hold_of
from assistant.debrief.moments import Fact, Moment, Told
from assistant.debrief.notes import Notes
from assistant.debrief.records import clock, lasted
from assistant.debrief.run_log import Page
from assistant.debrief.sound import schedule, sounds_at_all
from assistant.debrief.telling import Telling, plain
from assistant.journal.verify import State, Verdict

STATES: Final = {
    State.WHOLE: "whole",
    State.UNFINISHED: "no end",
    State.BROKEN: "not proven",
}
NOT_PROVEN: Final = "This log is not proven."


def run_row(run: Run, verdict: Verdict | str | None) -> dict[str, object]:
    """Return a run as a row of the runs table."""
    opened = run.opened
    return {
        "key": run.key,
        "run": run.name,
        "began": run.began[:16].replace("T", " "),
        "procedure": plain(opened.procedure) if opened else "",
        "rig": plain(opened.rig) if opened else "",
        "site": plain(opened.site) if opened else "",
        "length": lasted(run.length_ms) if opened else "",
        "seconds": run.length_ms // 1000,
        "practice": "practice" if run.practice else "",
        "log": "…" if verdict is None else STATES[verdict.state] if isinstance(verdict, Verdict) else "not proven",
        "why": reason(verdict) or run.fault,
    }


def reason(verdict: Verdict | str | None) -> str:
    """Return why a log is not proven, "" when nothing was altered."""
    if verdict is None:
        return ""
    if isinstance(verdict, str):
        return verdict
    return " ".join(one.what for one in verdict.findings[:3])


def run_head(folder: Folder, run: Run, verdict: Verdict | str | None, told: str) -> dict[str, object]:
    """Return what stands over a run: what it was, what the check of its log came to, what to know first."""
    opened = run.opened
    telling = folder.telling(run)
    sound = isinstance(verdict, Verdict) and verdict.state is not State.BROKEN
    banner = "" if sound or verdict is None else f"{NOT_PROVEN} {reason(verdict)}"
    notes = [told] if told else []
    if opened is not None:
        notes += [note[:1].upper() + note[1:] + "." for note in opened.notes if not note.startswith("crew: ")]
    if (held := hold_of(run)) != "":
        notes.append(f"Held, whatever its age: {held}")
    return {
        **run_row(run, verdict),
        "title": telling.title or (plain(opened.procedure).capitalize() if opened else run.name),
        "rig": telling.prepared.files.rig_title if telling.prepared else plain(opened.rig) if opened else "",
        "site": telling.prepared.files.site_title if telling.prepared else plain(opened.site) if opened else "",
        "crew": run.crew,
        "lang": opened.lang if opened else "en",
        "ended": run.ended[:16].replace("T", " "),
        "banner": banner,
        "notes": notes,
        "check": verdict_lines(verdict),
    }


def verdict_lines(verdict: Verdict | str | None) -> list[str]:
    """Return the outcome of the check in sentences, the result first."""
    if verdict is None:
        return ["The log is still being checked."]
    if isinstance(verdict, str):
        return [verdict]
    first = {
        State.WHOLE: f"The log is whole: {verdict.records} records, none altered.",
        State.UNFINISHED: f"The log has no end: {verdict.records} records, none altered.",
        State.BROKEN: f"The log does not verify: {len(verdict.findings)} faults.",
    }[verdict.state]
    lines = [first, *(one.what for one in verdict.findings[:20]), *verdict.notes]
    if verdict.key:
        lines.append(f"Signed with the tablet key {verdict.key}.")
    if verdict.codes:
        lines.append(f"Code at the end, to compare with the paperwork: {verdict.codes[-1]}.")
    return [*lines, *(f"Not shown by this check: {one}." for one in verdict.unseen)]


def page_data(page: Page, telling: Telling) -> dict[str, object]:
    """Return one page of moments with its drawing and the times of its replay."""
    due = {one.moment.number: one.at for one in schedule(page.moments)}
    short = {one.moment.number: one.at for one in schedule(page.moments, shortened=True)}
    moments: list[dict[str, object]] = []
    facts: tuple[Fact, ...] | None = None
    for one in page.moments:
        moments.append(_moment(one, telling, facts, due.get(one.number), short.get(one.number)))
        facts = one.facts if one.facts is not None else facts
    return {
        "page": page.number,
        "more": page.more,
        "moments": moments,
        "drawing": as_data(drawing(page.moments)),
    }


def _moment(
    one: Moment, telling: Telling, before: tuple[Fact, ...] | None, due: int | None, short: int | None
) -> dict[str, object]:
    known = {fact.name: fact.value for fact in before or ()}
    return {
        "number": one.number,
        "clock": clock(one.start),
        "wall": one.wall[11:19],
        "what": str(one.what),
        "mistake": one.mistake,
        "title": one.title,
        "text": one.text,
        "step": one.step,
        "stepNumber": one.step_number,
        # The same facts as before are not sent again.
        "facts": None
        if one.facts is None or one.facts == before
        else [{**_fact(fact, telling), "new": known.get(fact.name) != fact.value} for fact in one.facts],
        "why": None
        if one.why is None
        else {
            "signal": one.why.signal,
            "text": one.why.text,
            "restsOn": one.why.rests_on,
            "source": one.why.source,
            "facts": [_fact(fact, telling) for fact in one.why.facts],
        },
        "before": [_told(told, one) for told in one.before],
        "how": sorted({told.how for told in one.lines} - {"spoken"}),
        "noise": one.noise_db,
        "speech": one.speech_db,
        "sound": sounds_at_all(one) and (bool(one.lines or one.tone or one.audio)),
        "due": due,
        "dueShort": short,
        "lasts": one.at - one.start,
        "proven": one.proven,
    }


def _fact(fact: Fact, telling: Telling) -> dict[str, object]:
    return {"name": plain(fact.name), "value": telling.value(fact.value), "doubt": fact.doubt}


def _told(told: Told, mistake: Moment) -> dict[str, object]:
    how = {"cut": "cut short", "tone": "shown only", "failed": "shown only", "silent": "shown only"}
    ago = max(0, mistake.at - told.at)
    return {"ago": lasted(ago), "kind": told.kind, "text": told.text, "how": how.get(told.how, told.how)}


def notes_data(found: Iterable[Notes]) -> list[dict[str, object]]:
    """Return the notes on a run by trainer."""
    return [
        {
            "by": notes.by,
            "own": notes.own,
            "fault": notes.fault,
            "file": str(notes.path),
            "notes": [{"moment": one.moment, "wall": one.wall, "text": one.text} for one in notes.notes],
        }
        for notes in found
    ]
