"""The score of a practice, and what faults look like, in sentences: people get words, programs get ids."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from assistant.engine.state import Line
from assistant.practice.faults import FAULTS, GIVE_UP, READING, Fault
from assistant.practice.words import LOOK, YardWords
from assistant.prepare import Prepared


def score_in_words(report: Mapping[str, object], ready: Prepared, words: YardWords) -> list[str]:
    """Return a score, as `Score.report` gives it, as sentences for the trainee and the trainer."""
    out = [f"Critical answers: {_counts(report['critical'])}", f"All answers: {_counts(report['all'])}"]
    for step, phrase, verdict, _ in _rows(report["answers"]):
        if verdict != "right":
            out.append(f'  {verdict}: {_asked(ready, str(step))} Said: "{_said(ready, str(phrase))}".')
    out += [f"Fault found: {FAULTS[str(name)].what}." for name in _rows(report["faults_found"])]
    out += [f"Fault MISSED: {FAULTS[str(name)].what}." for name in _rows(report["faults_missed"])]
    refusals = [ready.wording.sentence(Line("never", str(rule))).text for rule in _rows(report["refusals"])]
    out += (
        ["Refused by the assistant:", *(f"  {text}" for text in refusals)]
        if refusals
        else ["Refused by the assistant: nothing."]
    )
    return [*out, broken_in_words((str(kind) for kind in _rows(report["broken"])), words)]


def broken_in_words(kinds: Iterable[str], words: YardWords) -> str:
    """Return what was broken in the yard, by kind of harm."""
    return f"Broken in the yard: {' '.join(words.harm[kind] for kind in kinds) or 'nothing.'}"


def signs_in_words(fault: Fault, ready: Prepared, words: YardWords) -> tuple[str, str]:
    """Return where a fault shows, and what is to be said of it; both as they are spoken."""
    says = [_told_by(ready, phrase) for phrase in fault.says]
    return "; ".join(words.phrases[LOOK + thing][0] for thing in fault.looks), "; ".join(says)


def _told_by(ready: Prepared, phrase: str) -> str:
    if phrase == READING:
        return "a reading outside its limit"
    if phrase == GIVE_UP:
        return "giving up"
    return "nothing: to see it is enough" if phrase not in ready.book.phrases else ready.wording.says(phrase)


def _counts(counted: object) -> str:
    assert isinstance(counted, Mapping)  # noqa: S101 - as `Score.report` makes it
    return f"{counted['right']} right, {counted['wrong']} wrong, {counted['not looked']} given without looking."


def _rows(value: object) -> list[list[object]]:
    assert isinstance(value, list)  # noqa: S101 - as above
    return value


def _asked(ready: Prepared, step: str) -> str:
    """Return what a step or look asks; a look has the id of its fact."""
    known = any(one.id == step for one in ready.plan.steps)
    return ready.wording.sentence(Line("step-short" if known else "look-short", step)).text


def _said(ready: Prepared, said: str) -> str:
    return ready.wording.says(said) if said in ready.book.phrases else said
