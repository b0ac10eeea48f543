"""The classroom: a trainee looks and acts in the yard, and is told what is seen and what broke.

Two ways. Guided, the same session and engine as in a cab ask the questions, and the yard keeps the
truth and the score beside them. Unguided, the assistant is switched off and things simply happen.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from assistant.ears.base import Ears, Signal
from assistant.engine.moves import current
from assistant.engine.state import Kind, Phase, State
from assistant.phrases.live import Hearing, Live
from assistant.phrases.numbers import say_reading
from assistant.practice import acts, deeds
from assistant.practice.crew import Crew
from assistant.practice.score import Score
from assistant.practice.sights import PICTURES
from assistant.practice.truth import Harm, Truth
from assistant.practice.words import ASK, DO, LOOK, YardWords
from assistant.prepare import Prepared
from assistant.session import Shown

_DO: Final[Mapping[str, Callable[[Truth], Truth]]] = {
    "brake-on": lambda truth: deeds.deed(truth, "parking-brake-set"),
    "neutral": lambda truth: deeds.deed(truth, "in-neutral"),
    "engine-off": lambda truth: deeds.deed(truth, "engine-off"),
    "engine-on": lambda truth: truth.but(engine=True),
    "trailer-brake-on": lambda truth: deeds.deed(truth, "trailer-brake-on"),
    "chocks": lambda truth: deeds.deed(truth, "chocks-placed"),
    "jaws-open": lambda truth: deeds.deed(truth, "jaws-open"),
    "second-lock-off": lambda truth: deeds.deed(truth, "second-lock-released"),
    "second-lock-on": lambda truth: deeds.deed(truth, "second-lock-set"),
    "lines-off": lambda truth: deeds.deed(truth, "lines-off"),
    "lines-swapped": lambda truth: deeds.deed(truth, "lines-swapped"),
    "cord-on": lambda truth: deeds.deed(truth, "cord-connected"),
    "cord-off": lambda truth: deeds.deed(truth, "cord-off"),
    "crank": lambda truth: deeds.deed(truth, "crank-stowed"),
    "slider-in": lambda truth: deeds.deed(truth, "slider-locked"),
    "boards": lambda truth: deeds.deed(truth, "boards-laid"),
    "grease": lambda truth: deeds.mended(truth, "plate-bare"),
    "clean-throat": lambda truth: deeds.mended(truth, "throat-fouled"),
    "send-away": lambda truth: deeds.mended(truth, "somebody-near"),
    "call-mate": lambda truth: deeds.mended(truth, "mate-out-of-sight"),
}

JOBS: Final = frozenset(_DO)
"""What can be done in the yard by name, besides the acts that are announced."""


def _nobody(_: str) -> None:
    return None


@dataclass
class Classroom:
    """The yard beside one run. ``tell`` gets every sentence for the trainee, ``note`` every line for the log."""

    prepared: Prepared
    crew: Crew
    words: YardWords
    tell: Callable[[str], None]
    note: Callable[[str], None] = _nobody
    changed: Callable[[Truth], None] = lambda _: None
    score: Score | None = None
    state: State = field(init=False)
    over: bool = False

    def __post_init__(self) -> None:
        self.state = self.prepared.engine.initial()
        self._told: tuple[Harm, ...] = self.crew.truth.harms

    def phrases(self) -> Mapping[str, tuple[str, ...]]:
        """Return what can be said to the yard."""
        return self.words.phrases

    def asked(self, phrase: str) -> None:
        """Do what a phrase of the yard asks for."""
        if phrase.startswith(LOOK):
            self.look(phrase.removeprefix(LOOK))
        elif phrase.startswith(DO):
            self.do(phrase.removeprefix(DO))
        else:
            self._ask(phrase.removeprefix(ASK))

    def look(self, thing: str) -> None:
        """Tell what is seen at a thing."""
        key = PICTURES[thing](self.crew.truth)
        self.tell(self.words.sight(thing, key))
        self.note(f"practice look: {thing}, {key}")
        if self.score is not None:
            self.score.look(thing)

    def do(self, job: str) -> None:
        """Do a job by its name."""
        self.crew.truth = _DO[job](self.crew.truth)
        if self.score is not None:
            self.score.work()
        self.tell(self.words.told["done"])
        self.note(f"practice job: {job}")
        self.settle()

    def act(self, name: str) -> None:
        """Do an act, whatever comes of it."""
        self.crew.truth = acts.act(self.crew.truth, name)
        self.tell(self.words.told["done"])
        self.note(f"practice act: {name}")
        self.settle()

    def settle(self) -> None:
        """Tell what has broken since the last time, and show the rig."""
        truth = self.crew.truth
        for harm in truth.harms[len(self._told) :]:
            self.tell(self.words.told["broken"].format(what=self.words.damage(harm)))
            self.note(f"practice broken: {harm.kind} by {harm.act or 'itself'}")
        self._told = truth.harms
        self.changed(truth)

    def _ask(self, what: str) -> None:
        if what == "all-done":
            self.over = True
        elif what == "take-reading":
            self._read()
        else:
            self._work()

    def _work(self) -> None:
        if self.state.phase not in {Phase.ASKING, Phase.LOOKING}:
            self.tell(self.words.told["nothing-asked"])
            return
        step = current(self.prepared.plan, self.state)
        self.crew.work(self.state)
        if self.score is not None:
            self.score.work()
        self.tell(self.words.told["done"])
        self.note(f"practice work: {step.id}")
        self.settle()

    def _read(self) -> None:
        step = current(self.prepared.plan, self.state)
        due = self.state.phase in {Phase.ASKING, Phase.LOOKING} and (step.hold is None or self.state.held)
        if not due or step.reading is None:
            self.tell(self.words.told["no-reading"])
            return
        taken = self.crew.reading(step)
        self.tell(self.words.told["reading"].format(reading=say_reading(taken.value, taken.unit, self.words.lang)))
        self.note(f"practice reading: {step.id}, {taken.value} {taken.unit}")
        if self.score is not None:
            self.score.look("reading")
        self.settle()

    def show(self, shown: Shown) -> None:
        """Learn a decision of the guided run: what was allowed happens, what was answered is scored."""
        before, decision = self.state, shown.decision
        self.state = shown.state
        if self.score is not None:
            self.score.told(before, shown.event, decision, self.crew.truth)
        self.crew.told(before, shown.event, decision)
        if decision.kind is Kind.ALLOWED:
            if self.prepared.plan.steps[before.step].act == decision.act:
                self._work()
            else:
                self.act(decision.act)
        self.settle()


class YardEars:
    """Ears that pass on what is said to the run, and answer in the yard what is said to the yard."""

    def __init__(self, inner: Ears, room: Classroom, passed_ms: Callable[[], int]) -> None:
        self._inner = inner
        self._room = room
        self._passed_ms = passed_ms
        self._then = 0

    @property
    def patient(self) -> bool:
        """Whether somebody sits there, as the ears within have it."""
        return bool(getattr(self._inner, "patient", True))

    def listen(self, live: Live, timeout: float | None) -> Hearing | Signal:
        """Listen for an answer; what the yard is asked meanwhile is done at once."""
        both = replace(live, phrases={**live.phrases, **self._room.phrases()})
        while True:
            got = self._inner.listen(both, timeout)
            self._catch_up()
            if not isinstance(got, Hearing) or got.phrase is None or got.phrase not in self._room.phrases():
                return got
            self._room.asked(got.phrase)
            if self._room.over:
                return Signal.ENDED
            if timeout is not None:
                return Signal.NOTHING

    def __getattr__(self, name: str) -> object:
        """Whatever else ears may be asked (their last sound, whether somebody speaks) the ears within answer."""
        return getattr(self._inner, name)

    def close(self) -> None:
        """Close the ears within."""
        self._inner.close()

    def _catch_up(self) -> None:
        now = self._passed_ms()
        self._room.crew.wait(now - self._then)
        self._then = now
        self._room.settle()


def alone(ears: Ears, room: Classroom, passed_ms: Callable[[], int]) -> None:
    """Let a trainee do as he likes with the assistant switched off, until he has had enough or the lines end."""
    announced = {act.announce: act.id for act in room.prepared.plan.acts.values()}
    wordings = {phrase: room.prepared.book.says(phrase) for phrase in announced}
    live = Live(room.prepared.plan.lang, {**wordings, **room.phrases()})
    then = 0
    while not room.over:
        got = ears.listen(live, None)
        now = passed_ms()
        room.crew.wait(now - then)
        then = now
        room.settle()
        if not isinstance(got, Hearing):
            return
        if got.phrase in announced:
            room.act(announced[got.phrase])
        elif got.phrase is not None:
            room.asked(got.phrase)
        else:
            room.tell(f"Nobody in the yard understands: {got.words or 'nothing was said'}.")
