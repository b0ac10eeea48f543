"""A made-up run, record by record, for tests of the log alone."""

from __future__ import annotations

from decimal import Decimal

from assistant.journal.records import Decided, Opened, Spoke
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Reading, Unheard

RUN = "20310504T060708Z-0a1b"


def opened(public: str, *, audio: bool = False, words: bool = True, run: str = RUN) -> Opened:
    """Return the record the run begins with."""
    return Opened(
        run=run,
        program="0.1.0",
        procedure="couple",
        rig="day-cab",
        site="north-yard",
        lang="en",
        ears="typed",
        voice="none",
        files={"procedures/couple/procedure.toml": "0" * 64},
        consent_audio=audio,
        consent_words=words,
        key=public,
    )


def hearing(number: int) -> Hearing:
    """Return one answer: mostly phrases, now and then a reading or nothing understood."""
    if number % 4 == 2:
        return Hearing("typed", "one one zero psi", reading=Reading(Decimal("110"), "psi", "one one zero psi"))
    if number % 4 == 3:
        return Hearing("typed", "lovely “weather” é\n", unheard=Unheard.NOT_A_PHRASE)
    ears = {"typed": {"words": f"jaw closed {number}", "phrase": "jaw-closed", "score": -2.125}}
    return Hearing("typed", f"jaw closed {number}", phrase="jaw-closed", ears=ears)


def answer(writer: Writer, number: int) -> None:
    """Write what one answer leaves in the log: a hearing, a decision and a prompt."""
    writer.hear(hearing(number))
    decision = {"kind": "accepted", "reason": "seen", "step": f"s{number}", "facts": {"jaw": "closed"}}
    writer.append(Decided(event={"kind": "heard", "answer": number}, decision=decision))
    writer.append(Spoke(lines=({"kind": "step", "text": f"Look at the gap, {number}."},), complete=True))
