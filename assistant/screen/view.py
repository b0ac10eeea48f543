"""What the page shows at one moment, as plain data. Pure: plan, words and a decision in, a view out.

The page shows only what the engine decided. Everything here comes from the state after a decision
and the lines it was told with; a second page, or the same page after a reload, gets the same view.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from typing import Final

from assistant.engine import commands
from assistant.engine.events import Heard, Measured
from assistant.engine.moves import current
from assistant.engine.state import Kind, Line, Outcome, Phase, State
from assistant.engine.telling import again
from assistant.phrases.live import Live, Unheard
from assistant.procedure.plan import PlanStep
from assistant.session import Shown
from assistant.wording import Sentence, Wording

View = Mapping[str, object]
"""JSON for the page; the fields are those of ``view_of``."""

NUMBER: Final = "<number>"
"""Stands for a phrase id on the pads of the keypad."""

_UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "pressure": ("psi", "kPa", "bar"),
    "length": ("in", "mm"),
    "time": ("s", "min"),
    "angle": ("deg",),
}
_MOST_UNITS = 2  # a third unit would push the keypad off a small tablet

_ASKED: Final[Mapping[Phase, str]] = {Phase.WAITING: "stand-by", Phase.STOPPED: "stopped", Phase.DEAF: "mic-lost"}
_ENDS: Final[Mapping[Outcome, str]] = {
    Outcome.DONE: "done",
    Outcome.GIVEN_UP: "given-up",
    Outcome.HALTED: "halt",
}
_ALWAYS: Final = (commands.SAY_AGAIN, commands.STAND_BY, commands.GO_AHEAD, commands.CORRECTION)
_MORE: Final = (commands.WHERE, commands.HELP, *commands.SETTINGS, commands.GIVE_UP, commands.START_OVER)


def view_of(shown: Shown) -> View:
    """Return the view after a decision.

    ``question`` names what is asked: it stays the same while the same thing is asked of the same
    facts, and a pad that was shown for another question does not count. ``told`` is what was said
    before the question. ``answers``, ``confirm``, ``session``, ``more`` and ``number`` are the pads; each
    has ``phrase`` and ``label``, and ``twice``, the label's key, where the page asks a second time.
    """
    prepared, state = shown.prepared, shown.state
    live = prepared.live(state)
    asked = _asked(shown)
    hazard = next((one.text for one in asked if one.kind == "hazard" and one.name.startswith("hazard-")), "")
    signal, hazard = _split_signal(shown, hazard)
    sentence = [one.text for one in asked if not one.name.startswith("hazard-")]
    step = current(prepared.plan, state) if state.phase not in {Phase.READY, Phase.OVER} else None
    return {
        "record": shown.record,
        "question": question_of(state),
        "step": "" if step is None else step.id,
        "phase": state.phase.value,
        "kind": shown.decision.kind.value,
        "title": prepared.files.words.title,
        "rig": prepared.files.rig_title,
        "site": prepared.files.site_title,
        "number": 0 if step is None else prepared.plan.steps[state.step].number,
        "count": prepared.plan.count,
        "signal": signal,
        "hazard": hazard,
        "sentence": sentence,
        "told": _told(shown, asked),
        "short": _short(prepared.wording, state, step) or sentence[:1],
        "heard": _heard(shown),
        "notice": _notice(shown),
        "caution": _caution(shown),
        "outcome": state.outcome.value,
        **_pads(shown, live, step),
    }


def question_of(state: State) -> str:
    """Return the name of what is asked in ``state``; equal only when a press means the same thing."""
    told = (state.phase, state.step, state.facts, state.held, state.pending, state.stale, state.look)
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def _asked(shown: Shown) -> list[Sentence]:
    state, wording = shown.state, shown.prepared.wording
    if state.phase is Phase.OVER:
        return wording.sentences((Line("line", _ENDS.get(state.outcome, "over")),))
    if state.phase in _ASKED:
        return wording.sentences((Line("line", _ASKED[state.phase]),))
    if state.phase is Phase.READY:
        return wording.sentences((Line("line", "caution"),))
    return wording.sentences(again(shown.prepared.plan, state))


def _short(wording: Wording, state: State, step: PlanStep | None) -> list[str]:
    """The one sentence for reading from far off: the short form of what is asked."""
    if step is None or state.phase not in {Phase.ASKING, Phase.LOOKING}:
        return []
    return [wording.sentence(Line("look-short" if step.look >= 0 else "step-short", step.id)).text]


def _split_signal(shown: Shown, text: str) -> tuple[str, str]:
    """Return the signal word's id and the hazard's own words."""
    if not text:
        return "", ""
    step = current(shown.prepared.plan, shown.state)
    signal = shown.prepared.plan.hazard_signal[step.hazard or ""]
    return signal, text.split(" ", 1)[1]


def _heard(shown: Shown) -> dict[str, str] | None:
    hearing, event, wording = shown.hearing, shown.event, shown.prepared.wording
    if hearing is None:
        return None
    kinds = {Kind.REFUSED: "refused", Kind.ASKED_AGAIN: "again", Kind.READ_BACK: "read-back"}
    how = kinds.get(shown.decision.kind, "counts")
    text = hearing.words
    if isinstance(event, Heard):
        text = _written(wording.says(event.phrase))
    elif isinstance(event, Measured):
        text = f"{event.value} {event.unit or ''}".strip()
    if hearing.unheard is not None:
        how = "silence" if hearing.unheard is Unheard.SILENCE else "again"
    return {"text": text, "how": how, "by": "pad" if hearing.engine == "pad" else "voice"}


def _written(says: str) -> str:
    """Return a phrase as one writes it: recognisers know no capital "I"."""
    return re.sub(r"\bi\b", "I", says)


def _told(shown: Shown, asked: list[Sentence]) -> list[str]:
    """What was said before the question and stands nowhere else on the page."""
    if shown.state.phase is Phase.HOLDING:
        hold = current(shown.prepared.plan, shown.state).hold
        seconds = str(hold.ms // 1000) if hold is not None else ""
        return [shown.prepared.wording.sentence(Line("line", "hold-begin", (("seconds", seconds),))).text]
    if shown.decision.kind in _FILLS or shown.state.phase is Phase.OVER:
        return []
    elsewhere = ("heard", "caution", "hazard-", "read-back", *(one.name for one in asked))
    return [one.text for one in shown.sentences if not one.name.startswith(elsewhere)]


_FILLS: Final = frozenset({Kind.REFUSED, Kind.FAILED, Kind.RESTARTED})


def _notice(shown: Shown) -> dict[str, str] | None:
    """What fills the screen until it is understood: a refusal, or that the place is lost.

    A refusal has the signal word of the never rule that refused.
    """
    decision = shown.decision
    if decision.kind not in _FILLS:
        return None
    if decision.kind is not Kind.REFUSED:
        names = {"fail", "look-differs", "needs-unmet", "restart"}
        texts = [one.text for one in shown.sentences if one.name in names]
        signal = "danger" if decision.kind is Kind.FAILED else "warning"
        return {"signal": signal, "title": "restart-title", "text": " ".join(texts)}
    texts = [one.text for one in shown.sentences if one.kind == "refusal"] or [one.text for one in shown.sentences]
    acts = shown.prepared.plan.acts.values()
    signal = next((rule.signal for act in acts for rule in act.rules if rule.id == decision.rule), "notice")
    text = texts[0] if texts else ""
    if decision.reason == "never" and " " in text:
        text = text.split(" ", 1)[1]  # the signal word has its own place on the page
    return {"signal": signal, "title": "refused-title", "text": text}


def _caution(shown: Shown) -> str:
    if shown.decision.kind not in {Kind.BEGUN, Kind.RESUMED}:
        return ""
    return shown.prepared.wording.sentence(Line("line", "caution")).text


def _pads(shown: Shown, live: Live, step: PlanStep | None) -> dict[str, object]:
    state, wording = shown.state, shown.prepared.wording

    def pad(phrase: str, *, critical: bool = False, twice: str = "") -> dict[str, object]:
        return {"phrase": phrase, "label": _written(wording.says(phrase)), "critical": critical, "twice": twice}

    answers: list[dict[str, object]] = []
    confirm: list[dict[str, object]] = []
    if step is not None and state.phase in {Phase.ASKING, Phase.LOOKING}:
        held = step.hold is None or state.held
        ids = list(step.answers) if held else [step.hold.begin] if step.hold else []
        within = {step.reading.within.phrase, step.reading.outside.phrase} if step.reading else set()
        answers = [pad(one, critical=one in live.critical) for one in ids if one in live.phrases and one not in within]
    if state.phase is Phase.CONFIRMING:
        confirm = [pad(commands.RIGHT)]
    if state.phase is Phase.STOPPED:
        # The engine reads other critical answers back; these are asked for a second time by the page.
        answers = [pad(commands.CLEAR, critical=True, twice="seen")]
    if state.phase is Phase.DEAF:
        answers = [pad(commands.GIVE_UP, critical=True, twice="mean-it")]
    if state.phase is Phase.WAITING:
        answers = [pad(commands.GO_AHEAD)]
    taken = {one["phrase"] for one in (*answers, *confirm)}
    return {
        "answers": answers,
        "confirm": confirm,
        "session": [pad(one) for one in _ALWAYS if one in live.phrases and one not in taken],
        "more": [pad(one) for one in _MORE if one in live.phrases],
        "stop": pad(commands.STOP) if live.emergency else None,
        "who": "" if step is None else step.who,
        "keypad": _keypad(step) if live.reading and step is not None else None,
    }


def _keypad(step: PlanStep) -> dict[str, object] | None:
    """The number that is due; the limit's own unit comes first."""
    if step.reading is None:
        return None
    limit = step.reading.limit
    others = [unit for unit in _UNITS.get(limit.kind, ()) if unit != limit.unit]
    return {"kind": limit.kind, "units": [limit.unit, *others][:_MOST_UNITS]}


def offered(view: View) -> frozenset[str]:
    """Return the phrases that some pad of the view stands for; ``NUMBER`` for the keypad."""
    found = {NUMBER} if view["keypad"] else set()
    for group in ("answers", "confirm", "session", "more"):
        pads = view[group]
        assert isinstance(pads, list)  # noqa: S101 - built above
        found |= {str(one["phrase"]) for one in pads}
    stop = view["stop"]
    return frozenset(found | ({str(stop["phrase"])} if isinstance(stop, dict) else set()))


