"""What a record comes to under the rule, with any limits: what both ears, or one of them, took a clip for."""

from __future__ import annotations

from assistant.ears.audio import Levels
from assistant.ears.closed_set import reading_of
from assistant.ears.evidence import Evidence
from assistant.ears.limits import LIMITS, Limits
from assistant.ears.live_words import NUMBER
from assistant.ears.rule import Outcome, decide
from assistant.phrases.live import Live, Reading
from assistant.phrases.match import match
from benchmarks.hearing_parts.collect import Record, evidence_of
from benchmarks.hearing_parts.material import STOP

EARS = ("both", "ranking ear's leading", "weighing ear's leading", "plain grammar (baseline)")
ANSWERS = frozenset({"answer", "critical", "always"})
NO_ANSWER = frozenset({"talk", "elsewhere", "more"})


def heard_by(ear: str, record: Record, live: Live, limits: Limits = LIMITS) -> list[str]:
    """Return what one ear (or both) took each utterance of a clip for: phrase id, number or ""."""
    if ear.startswith("plain"):
        return [_number(str(record["plain_words"]), live) or str(record["plain"])]
    found = []
    for heard in record["heard"]:
        if heard["too_long"]:
            continue
        if ear == "both":
            levels = Levels(heard["speech_db"], heard["noise_db"], heard["clipped"])
            found.append(_name(decide(evidence_of(heard), None, live, limits, levels)))
        else:
            found.append(_leading(ear, evidence_of(heard), live))
    return found


def _leading(ear: str, found: Evidence, live: Live) -> str:
    """Return the phrase or reading that one ear puts first, whatever its odds."""
    leading = found.leading if ear.startswith("ranking") else found.second_leading
    scored = next((one for one in (*found.weighed, *found.ranked) if one.phrase == leading), None)
    reading = reading_of(scored.text, live) if scored is not None and leading.startswith(NUMBER) else None
    return _value(reading) if reading is not None else leading


def _name(outcome: Outcome) -> str:
    if outcome.reading is not None:
        return _value(outcome.reading)
    return outcome.phrase or ""


def _value(reading: Reading) -> str:
    return f"{reading.value.normalize():f} {reading.unit or ''}".strip()


def _number(words: str, live: Live) -> str:
    found = match(words, live).reading if words and live.reading else None
    return _value(found) if found is not None else ""


def outcome(ear: str, record: Record, live: Live, limits: Limits = LIMITS) -> str:
    """Return "right", "wrong" or "refused" for a clip that is an answer, "taken", "stop" or "refused" for talk."""
    names = [name for name in heard_by(ear, record, live, limits) if name]
    if record["group"] in NO_ANSWER:
        return "taken" if any(name != STOP for name in names) else "stop" if names else "refused"
    truth = str(record["truth"])
    if record["group"] == "reading":
        wanted = match(truth, live).reading
        truth = _value(wanted) if wanted is not None else truth
        names = [name.split()[0] if wanted is not None and wanted.unit is None else name for name in names]
    if not names:
        return "refused"
    return "right" if all(name == truth for name in names) else "wrong"
