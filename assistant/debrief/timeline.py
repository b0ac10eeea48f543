"""A run folded into moments, record by record. Pure over records: no file, clock, thread or device.

The facts believed at each moment come from the engine itself: its events are put through it again, as
``log replay`` does, and as long as it decides as the log says, `moves.believed` tells what was believed,
the doubt of an act under way among it. Where the files differ from the run's, the facts that each
decision wrote into the log are added up instead.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from assistant.debrief.decisions import lines_of, read_back, sentences, why, word
from assistant.debrief.moments import Fact, Lane, Moment, Told, What
from assistant.debrief.records import RECORDS, level
from assistant.debrief.telling import StepWords, Telling
from assistant.engine.events import Resumed as ResumedEvent
from assistant.engine.events import event_from_data
from assistant.engine.moves import believed
from assistant.engine.record import decision_to_data
from assistant.engine.state import State
from assistant.errors import HitchcallError
from assistant.journal.reader import Entry
from assistant.journal.records import Decided, Heard, Record, Spoke
from assistant.journal.words import Said
from assistant.procedure.model import UNKNOWN

LAST_MINUTE_MS: Final = 60_000
_MOST_TOLD: Final = 40  # a minute holds no more; a made-up log may
_TONES: Final[Mapping[str, str]] = {
    "accepted": "heard", "refused": "refused", "stopped": "stop", "failed": "stop", "asked-again": "not-understood",
}  # fmt: skip


@dataclass
class Timeline:
    """Folds a run; `copy` makes a place to go on from."""

    telling: Telling
    state: State | None = None
    same: bool = True
    facts: dict[str, Fact] = field(default_factory=dict)
    step: StepWords | None = None
    pending: tuple[str, str] = ("", "")
    told: tuple[Told, ...] = ()
    coming: tuple[Told, ...] = ()
    changes: tuple[str, ...] = ()

    @classmethod
    def begin(cls, telling: Telling, *, exact: bool) -> Timeline:
        """Begin a run; ``exact`` when the procedure files are the very ones the run was made with."""
        prepared = telling.prepared
        return cls(telling, prepared.engine.initial() if prepared is not None and exact else None, exact)

    def copy(self) -> Timeline:
        """Return the same place, to be gone on from separately."""
        return replace(self, facts=dict(self.facts))

    def take(self, entry: Entry, said: Said | None = None) -> Iterator[Moment]:
        """Yield the moments of one record: one, or none where nothing happened."""
        record = entry.record
        if isinstance(record, Spoke):
            yield self._spoke(entry, record)
        elif isinstance(record, Heard):
            yield self._heard(entry, record, said)
        elif isinstance(record, Decided):
            found = self._decided(entry, record)
            if found is not None:
                yield found
        else:
            yield self._other(entry, record)

    # -- told and said ----------------------------------------------------------------------------
    def _spoke(self, entry: Entry, record: Spoke) -> Moment:
        start = max(0, entry.mono - max(record.took_ms, 0))
        lines = tuple(
            Told(start, str(one.get("kind", "")), str(one.get("text", "")), str(one.get("how", "spoken")))
            for one in record.lines
        )
        self.coming = tuple(one for one in self.coming if one.at > start)
        self.told = (*self.told, *lines)[-_MOST_TOLD:]
        hazard = any(one.kind == "hazard" for one in lines)
        hows = {one.how for one in lines}
        title = "Told, with a hazard" if hazard else "Told"
        if hows & {"cut", "hangs"}:
            title = "Told, cut short"
        elif hows & {"failed", "tone"}:
            title = "Shown, could not be spoken"
        elif hows == {"silent"}:
            title = "Shown, not spoken"
        text = " ".join(one.text for one in lines)
        return self._moment(entry, start, What.PROMPT, Lane.TOLD, title, text, lines=lines)

    def _heard(self, entry: Entry, record: Heard, said: Said | None) -> Moment:
        length = max(0, record.end_ms - record.start_ms)
        start = max(0, entry.mono - length)
        mate = "the mate" if record.who == "mate" else "the driver"
        words = f"“{said.words}”" if said is not None and said.words else ""
        if record.unheard is not None:
            what, title = What.MISHEARD, "Not understood"
            text = f"{words} {self.telling.unheard(record.unheard)}".strip()
        elif record.reading is not None:
            what, title = What.READING, f"Reading by {mate}"
            text = f"{record.reading.get('value')} {record.reading.get('unit') or 'without a unit'}"
            text = f"{words}: {text}" if words else text
        else:
            what, title = What.HEARING, f"Said by {mate}"
            meant = self.telling.phrase(record.phrase or "")
            text = meant if not words or words.strip("“”").lower() == meant.lower() else f"{words}: {meant}"
        if record.said and not words:
            text += " (the words are no longer kept)"
        if record.engine == "pad":
            title = title.replace("Said", "Pressed")
        elif record.engine == "typed":
            title = title.replace("Said", "Typed")
        return self._moment(
            entry, start, what, Lane.SAID, title, text,
            audio=record.audio, by=record.engine, speech_db=level(record.speech_db), noise_db=level(record.noise_db),
        )  # fmt: skip

    # -- decisions --------------------------------------------------------------------------------
    def _decided(self, entry: Entry, record: Decided) -> Moment | None:
        event, decision = record.event, record.decision
        asked, facts_before = self.step, self.facts
        found = sentences(self.telling, event, decision, self.pending)
        kind = word(decision, "kind")
        self._fold(entry, record)
        if kind == "read-back":
            self.pending = read_back(decision)
        elif word(decision, "phase") != "confirming":
            self.pending = ("", "")
        looks = decision.get("looks")
        self.step = self.telling.step(word(decision, "step"), looks if isinstance(looks, list) else ())
        if kind == "setting":
            self.changes = (*self.changes, word(decision, "reason"))[-_MOST_TOLD:]
        if found is None:
            return None
        what, title, text = found
        mistake = what in {What.REFUSAL, What.FAILURE}
        before = self._before(entry.mono) if mistake else ()
        self._will_say(entry.mono, decision)
        silent = kind == "asked-again" and word(decision, "reason") == "silence"
        return self._moment(
            entry, entry.mono, what, Lane.DECIDED, title, text,
            facts=tuple(self.facts.values()), before=before, tone="" if silent else _TONES.get(kind, ""),
            why=why(self.telling, decision, facts_before, asked) if what is What.REFUSAL else None,
        )  # fmt: skip

    def _fold(self, entry: Entry, record: Decided) -> None:
        """Bring the facts up to date: by the engine where it still decides the same, else by the log's own words."""
        prepared = self.telling.prepared
        if self.same and self.state is not None and prepared is not None:
            try:
                event = event_from_data(record.event)
                if isinstance(event, ResumedEvent) and event.changed:
                    raise HitchcallError("From here on the run was made with other files.")
                decision = prepared.engine.decide(self.state, event, entry.mono)
            except HitchcallError:
                self.same = False
            else:
                self.same = decision_to_data(prepared.plan, self.state, decision) == dict(record.decision)
                self.state = decision.state
        else:
            self.same = False
        if self.same and prepared is not None and self.state is not None:
            plan, seen = prepared.plan, self.state.facts
            now = believed(plan, self.state)
            self.facts = {
                name: Fact(name, value, doubt=value != before)
                for name, value, before in zip(plan.fact_names, now, seen, strict=True)
                if value != UNKNOWN or before != UNKNOWN
            }
            return
        changed = record.decision.get("facts")
        self.facts = dict(self.facts)
        for name, value in changed.items() if isinstance(changed, dict) else ():
            if value == UNKNOWN:
                self.facts.pop(name, None)
            else:
                self.facts[name] = Fact(str(name), str(value))

    def _before(self, at: int) -> tuple[Told, ...]:
        """What the driver had been told in the last minute, and what was being said just then."""
        told = (*self.told, *self.coming)
        return tuple(one for one in told if one.at > at - LAST_MINUTE_MS and one.text)

    def _will_say(self, at: int, decision: Mapping[str, object]) -> None:
        coming = []
        for kind, key, places in lines_of(decision):
            sentence = self.telling.line(kind, key, places)
            coming.append(Told(at, sentence.kind, sentence.text, "under way"))
        self.coming = (*self.coming, *coming)[-_MOST_TOLD:]

    # -- the rest ---------------------------------------------------------------------------------
    def _other(self, entry: Entry, record: Record) -> Moment:
        what, title, text, skipped = RECORDS[type(record)](record)
        if what is What.INTERRUPTION:
            self.coming = ()
        return self._moment(entry, entry.mono, what, Lane.TABLET, title, text, skipped=skipped)

    def _moment(
        self, entry: Entry, start: int, what: What, lane: Lane, title: str, text: str, **more: object
    ) -> Moment:
        step = self.step
        return Moment(
            entry.seq, start, entry.mono, entry.wall, what, lane, title, text,
            step=step.say if step else "", step_number=step.number if step else 0, changes=self.changes,
            **more,  # type: ignore[arg-type]
        )  # fmt: skip
