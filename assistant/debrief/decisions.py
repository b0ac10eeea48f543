"""A decision of the log in a plain sentence, and what stands beside a refusal. Pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from assistant.debrief.moments import Fact, What, Why
from assistant.debrief.telling import REFUSALS, StepWords, Telling, plain
from assistant.journal.records import Json

Sentences = tuple[What, str, str]
"""The kind of moment, its title, its text."""

_RESTARTS: Final[Mapping[str, str]] = {
    "restart": "That answer leads back to the start; nothing counts from before.",
    "needs-unmet": "Something needed had not been seen; back to the start.",
    "act-forbidden": "The next act was forbidden as things stood; back to the start.",
    "look-differs": "What was looked at had changed; back to the start.",
    "asked-for": "The driver asked to start over.",
    "files-changed": "The procedure files had changed; back to the start.",
}
_ENDS: Final[Mapping[str, str]] = {
    "done": "Everything the procedure asks for was seen.",
    "given-up": "The driver gave up.",
    "halted": "Do not move, call for help: the procedure ended there.",
}
_NUMBERS: Final[Mapping[str, str]] = {
    "no-unit": "The number had no unit.",
    "wrong-kind": "The unit was of the wrong kind.",
    "impossible": "The number cannot be right.",
}
_REPEATS: Final[Mapping[str, str]] = {
    "say-again": "Said again, as asked.",
    "where-are-we": "Told where the run stands.",
    "help": "Told what may be said.",
    "silence": "Reminded after silence.",
}


def word(data: Json, name: str) -> str:
    """Return a field of a decision or event as text, "" when it is not there or no text."""
    value = data.get(name)
    return value if isinstance(value, str) else ""


def lines_of(decision: Json) -> list[tuple[str, str, Mapping[str, object]]]:
    """Return the lines of a decision; what is none is passed over, for a log may hold anything."""
    lines = decision.get("lines")
    return [
        (str(one[0]), str(one[1]), one[2])
        for one in (lines if isinstance(lines, list) else ())
        if isinstance(one, list) and len(one) == 3 and isinstance(one[2], dict)
    ]


def read_back(decision: Json) -> tuple[str, str]:
    """Return the phrase id and the number that a decision reads back, each "" when it does not."""
    for _, key, places in lines_of(decision):
        if key in {"read-back", "command-ask"}:
            return str(places.get("phrase", "")), ""
        if key == "read-back-number":
            return "", str(places.get("reading", ""))
    return "", ""


def sentences(telling: Telling, event: Json, decision: Json, pending: tuple[str, str]) -> Sentences | None:
    """Return what a decision came to; None for one that did nothing. ``pending`` was read back before it."""
    kind = word(decision, "kind")
    made = _KINDS.get(kind)
    if made is None:
        return What.DECISION, plain(kind).capitalize() or "Decided", word(decision, "reason")
    return made(telling, event, decision, pending)


def _answer(telling: Telling, event: Json, pending: tuple[str, str]) -> str:
    """What an answer or its confirmation means, in words."""
    phrase = word(event, "phrase")
    if phrase == "read-back-right" and any(pending):
        return telling.phrase(pending[0]) if pending[0] else pending[1]
    return telling.phrase(phrase) or " ".join(filter(None, (word(event, "value"), word(event, "unit"))))


def _accepted(telling: Telling, event: Json, decision: Json, pending: tuple[str, str]) -> Sentences:
    answer, reason = _answer(telling, event, pending), word(decision, "reason")
    if reason in {"within", "outside"}:
        limit = telling.limit(word(decision, "rule"))
        title = "Reading within its limit" if reason == "within" else "Reading outside its limit"
        what = What.READING if reason == "within" else What.FAILURE
        return what, title, f"{answer}. {f'Limit: {limit}' if limit else ''}".strip()
    return What.DECISION, "Counts", f"“{answer}” counts."


def _read_back(telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    phrase, number = read_back(decision)
    if number:
        return What.READING, "Read back", f"{number}. It does not count until it is confirmed."
    return What.DECISION, "Read back", f"“{telling.phrase(phrase)}”. It does not count until it is confirmed."


def _refused(telling: Telling, event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    act = word(decision, "act")
    told = telling.act(act) if act else f"“{_answer(telling, event, ('', ''))}”"
    return What.REFUSAL, "Refused", f"{told[:1].upper()}{told[1:]} was refused. Nothing changed."


def _allowed(telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    return What.DECISION, "Allowed", f"The driver may do it: {telling.act(word(decision, 'act'))}."


def _asked_again(telling: Telling, event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    reason = word(decision, "reason")
    if reason == "silence":
        return What.WAIT, "No answer", "Nobody answered; it was asked again."
    if reason == "secure-first":
        return What.DECISION, "Asked again", "That had to be made safe first."
    if reason in _NUMBERS:
        said = " ".join(filter(None, (word(event, "value"), word(event, "unit"))))
        return What.READING, "Number asked again", f"{said}. {_NUMBERS[reason]}"
    return What.MISHEARD, "Not understood", telling.unheard(reason)


def _repeated(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    reason = word(decision, "reason")
    what = What.WAIT if reason == "silence" else What.DECISION
    return what, "Repeated", _REPEATS.get(reason, "Said again.")


def _taken_back(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    told = {
        "read-back-wrong": "What was read back was wrong; asked again.",
        "hold-broken": "The count was broken off.",
        "last-answer": "The last answer was taken back.",
    }
    return What.DECISION, "Taken back", told.get(word(decision, "reason"), "Taken back.")


def _restarted(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    return What.FAILURE, "Started again", _RESTARTS.get(word(decision, "reason"), "Back to the start.")


def _failed(telling: Telling, event: Json, _decision: Json, pending: tuple[str, str]) -> Sentences:
    answer = _answer(telling, event, pending)
    return What.FAILURE, "Coupling failed", f"“{answer}”: the coupling failed. Back to the start, nothing counts."


def _ended(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    outcome = word(decision, "outcome") or word(decision, "reason")
    return What.END, "Ended", _ENDS.get(outcome, plain(outcome).capitalize() + ".")


def _waiting(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    silent = word(decision, "reason") == "silence"
    return What.WAIT, "Standing by", "Nobody answered three times." if silent else "The driver asked to stand by."


def _went_on(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    told = {"long-wait": "After a long wait: what may have changed is looked at again.",
            "after-stop": "Everyone was seen clear after the stop."}  # fmt: skip
    return What.DECISION, "Went on", told.get(word(decision, "reason"), "The driver said to go on.")


def _resumed(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    looks = decision.get("looks")
    text = "What may have changed is looked at again." if looks else "The run goes on."
    return What.INTERRUPTION, "Taken up again", _RESTARTS.get(word(decision, "reason"), text)


def _same(what: What, title: str, text: str) -> Callable[[Telling, Json, Json, tuple[str, str]], Sentences]:
    return lambda _telling, _event, _decision, _pending: (what, title, text)


def _counted(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    left = next((str(places.get("seconds", "")) for _, key, places in lines_of(decision) if key == "hold-count"), "")
    return What.WAIT, "Counting", f"{left} seconds left." if left else "Counting."


def _setting(telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences:
    return What.DECISION, "Voice", f"The driver asked: “{telling.phrase(word(decision, 'reason'))}”."


def _nothing(_telling: Telling, _event: Json, decision: Json, _pending: tuple[str, str]) -> Sentences | None:
    return (What.DECISION, "Over", "The run was over already.") if lines_of(decision) else None


_KINDS: Final[Mapping[str, Callable[[Telling, Json, Json, tuple[str, str]], Sentences | None]]] = {
    "begun": _same(What.BEGIN, "Begun", "The run begins. Nothing is believed yet."),
    "resumed": _resumed,
    "accepted": _accepted,
    "read-back": _read_back,
    "refused": _refused,
    "allowed": _allowed,
    "asked-again": _asked_again,
    "repeated": _repeated,
    "taken-back": _taken_back,
    "waiting": _waiting,
    "went-on": _went_on,
    "stopped": _same(What.EMERGENCY, "Emergency stop", "Everything waits until everyone is seen clear."),
    "deaf": _same(What.DEVICE, "Deaf", "The microphone was lost; nothing counted."),
    "hearing-back": _same(What.DEVICE, "Hearing again", "What may have changed is looked at again."),
    "hold-begun": _same(What.WAIT, "Holding", "The driver began to hold; the count ran."),
    "hold-counted": _counted,
    "hold-ended": _same(What.WAIT, "Held", "The time was over."),
    "failed": _failed,
    "restarted": _restarted,
    "ended": _ended,
    "setting": _setting,
    "nothing": _nothing,
}  # fmt: skip


def why(telling: Telling, decision: Json, facts: Mapping[str, Fact], asked: StepWords | None) -> Why:
    """Return what stands beside a refusal; ``asked`` is the step that was asked then."""
    rule = telling.rule(word(decision, "rule"))
    if rule is not None:
        forbade = tuple(facts.get(name) or Fact(name, "unknown") for name, _ in rule.when)
        return Why(rule.signal, rule.text, REFUSALS["never"], rule.source, forbade)
    reason = word(decision, "reason")
    told = [telling.line(*one) for one in lines_of(decision)]
    text = next((one.text for one in told if one.kind == "refusal"), told[0].text if told else "")
    source = ""
    if reason == "not-this-step" and asked is not None:
        source = f"The step asked then: {asked.say}" + (f" ({asked.source})" if asked.source else "")
    if reason == "never":
        source = "The rule's own words and source stand in the procedure files of this run, which are not here."
    return Why(telling.signal("notice"), text, REFUSALS.get(reason, plain(reason).capitalize() + "."), source)
