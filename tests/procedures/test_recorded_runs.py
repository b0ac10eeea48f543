"""Runs by recordings are worth something only if the driver is one, and if what was heard before may be remembered."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from assistant.ears.base import Signal
from assistant.ears.choose import open_pair
from assistant.ears.utterances import Utterance
from assistant.ears.wavs import speech_of
from assistant.engine.engine import Engine
from assistant.engine.events import Begin, Heard, Measured, event_of
from assistant.engine.guide import reply
from assistant.engine.state import Phase, State
from assistant.phrases.live import Hearing, Live, Reading, Unheard
from assistant.prepare import Prepared, grammars, library, prepare
from assistant.recorded_driver import TRIES, RecordedDriver
from assistant.voice.other_voices import OtherVoice, other_voices, say_with
from benchmarks.recorded_parts.memo import RememberingPair, Sayings, from_data, live_key, slow, to_data


@pytest.fixture(scope="module")
def ready() -> Prepared:
    """A short run with readings."""
    return prepare(library(), grammars(), "wear-check", rig="fixed-spring", site="lines-after")


@pytest.fixture(scope="module")
def voice() -> OtherVoice:
    """A driver's voice."""
    known = [one for one in other_voices() if one.name.startswith("flite")]
    if not known:
        pytest.skip("flite is not installed")
    return known[0]


def _reading_step(ready: Prepared) -> State:
    """Return the first state in which a number is due."""
    engine, now = Engine(ready.plan), 0
    state = engine.decide(engine.initial(), Begin(), now).state
    while not isinstance(reply(ready.plan, state).event, Measured):
        now += 1000
        state = engine.decide(state, reply(ready.plan, state).event, now).state
    return state


class Deaf:
    """Ears that write every number down as another, twice, and everything else as it was meant."""

    name = "deaf"

    def __init__(self) -> None:
        self.driver: RecordedDriver | None = None
        self.wrong = 2

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what was meant, or another number."""
        del utterance, live, damaged
        assert self.driver is not None
        meant = self.driver.meant
        if isinstance(meant, Measured):
            self.wrong -= 1
            value = meant.value + 1 if self.wrong >= 0 else meant.value
            return Hearing("deaf", "x", reading=Reading(value, meant.unit, "x"))
        assert isinstance(meant, Heard)
        return Hearing("deaf", "x", phrase=meant.phrase, who=meant.who)

    def prepare(self, live: Live) -> None:
        """Need nothing."""

    def warm(self, live: Live) -> bool:
        """Need nothing more."""
        del live
        return False

    def close(self) -> None:
        """Have nothing to free."""


def test_a_recorded_driver_corrects_a_number_read_back_wrongly(
    ready: Prepared, voice: OtherVoice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever says "that is what I said" to a wrong number makes it count: a driver listens to the read-back."""
    monkeypatch.setattr("assistant.recorded_driver.say_with", Sayings(tmp_path / "said"))
    states = [_reading_step(ready)]
    ears = Deaf()
    driver = ears.driver = RecordedDriver(ready, ears, tmp_path, lambda: states[-1], voices=(voice, slow(voice)))
    said, engine = [], Engine(ready.plan)
    while len(said) < 6:
        got = driver.listen(ready.live(states[-1]), None)
        assert isinstance(got, Hearing)
        said.append(driver.meant)
        states.append(engine.decide(states[-1], event_of(got), 10_000 + 1000 * len(said)).state)
    due = said[0]
    assert isinstance(due, Measured)
    assert said == [due, Heard("correction"), due, Heard("correction"), due, Heard("read-back-right")]
    assert [one.phase for one in states[1:6]] == [Phase.CONFIRMING, Phase.ASKING] * 2 + [Phase.CONFIRMING]
    assert states[-1].step != states[0].step


class LosesUnits(Deaf):
    """Ears that never hear a unit."""

    def hear(self, utterance: Utterance, live: Live, *, damaged: bool = False) -> Hearing:
        """Return what was meant without its unit."""
        whole = super().hear(utterance, live, damaged=damaged)
        return replace(whole, reading=whole.reading and replace(whole.reading, unit=None))


def test_a_recorded_driver_whose_unit_is_never_heard_gives_up(
    ready: Prepared, voice: OtherVoice, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hazard: an endless run. A number without its unit is understood, asked for again, and was said for ever."""
    monkeypatch.setattr("assistant.recorded_driver.say_with", Sayings(tmp_path / "said"))
    states, ears = [_reading_step(ready)], LosesUnits()
    driver = ears.driver = RecordedDriver(ready, ears, tmp_path, lambda: states[-1], voices=(voice, slow(voice)))
    engine, said = Engine(ready.plan), 0
    while isinstance(got := driver.listen(ready.live(states[-1]), None), Hearing):
        said += 1
        assert said <= 2 * TRIES
        states.append(engine.decide(states[-1], event_of(got), 10_000 + 1000 * said).state)
    assert got is Signal.ENDED
    assert said == TRIES
    assert states[-1].step == states[0].step


def _utterance(voice: OtherVoice, words: str, path: Path) -> Utterance:
    say_with(voice, words, path)
    (found,) = speech_of(path)
    return found


@pytest.mark.timeout(600)
def test_a_verdict_hangs_on_the_sound_and_the_live_set_alone(
    ready: Prepared, voice: OtherVoice, tmp_path: Path
) -> None:
    """What was heard before may change nothing: else a remembered verdict is not the one a driver would get."""
    state = _reading_step(ready)
    number, other = (
        ready.live(state),
        ready.live(Engine(ready.plan).decide(State(Phase.READY, 0, ready.plan.blank), Begin(), 0).state),
    )
    told = reply(ready.plan, state).event
    assert isinstance(told, Measured)
    phrase = next(iter(ready.plan.steps[0].answers))
    sounds = [
        (_utterance(voice, ready.wording.says(phrase), tmp_path / "a.wav"), other),
        (_utterance(voice, "zero point two inches", tmp_path / "b.wav"), number),
        (_utterance(voice, "lovely weather over the hills today", tmp_path / "c.wav"), other),
    ]
    pair = open_pair(ready.book).pair
    try:
        first = [pair.hear(*one) for one in sounds]
        back = [pair.hear(*one) for one in reversed(sounds)]
        assert first[0].phrase == phrase
        assert first[2].unheard is not None
        assert first == back[::-1]
        remembering = RememberingPair(pair, tmp_path / "kept", "ears")
        assert [remembering.hear(*one) for one in sounds] == first
        again = RememberingPair(pair, tmp_path / "kept", "ears")
        again.look()
        assert [again.hear(*one) for one in sounds] == first
        assert (remembering.known, again.known) == (0, 3)
    finally:
        pair.close()


def test_what_is_remembered_is_asked_for_by_all_it_hangs_on(ready: Prepared) -> None:
    """A verdict given while other phrases were live is another question: no field of a live set is left out."""
    live = ready.live(_reading_step(ready))
    others = [
        replace(live, lang="ko"), replace(live, phrases={**live.phrases, "x": ("x y",)}),
        replace(live, critical=live.critical | {"x"}), replace(live, emergency=frozenset()),
        replace(live, reading="angle"), replace(live, mate="mate"), replace(live, book=frozenset({"x"})),
    ]  # fmt: skip
    keys = [repr(live_key(one)) for one in (live, *others)]
    assert len(set(keys)) == len(keys) == len(Live.__dataclass_fields__) + 1


@pytest.mark.parametrize(
    "hearing",
    [
        Hearing("pair", "jaw closed", phrase="jaw-closed", speech_db=-20.5, ears={"a": {"odds": 1.5, "phrase": "x"}}),
        Hearing("pair", "one ten", reading=Reading(Decimal("110.50"), "psi", "one ten")),
        Hearing("pair", "noise", unheard=Unheard.EARS_DISAGREE),
    ],
)
def test_a_hearing_is_remembered_as_it_was(hearing: Hearing) -> None:
    """A remembered answer, reading or refusal is the same as when it was heard."""
    assert from_data(to_data(hearing)) == hearing
