"""The rule between two ears, on findings alone: what counts, what is refused, and with which reason."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import pytest

from assistant.ears import fusion
from assistant.ears.audio import Levels
from assistant.ears.base import Verdict
from assistant.ears.closed_set import Ranked, Weighed, best_by_phrase, weighing_share
from assistant.ears.evidence import Evidence
from assistant.ears.fusion import CANDIDATES, candidates
from assistant.ears.limits import LIMITS
from assistant.ears.odds import figures, more_was_said, odds
from assistant.ears.rule import Outcome, decide
from assistant.ears.words_only import decide_alone
from assistant.phrases.live import Live, Unheard

STOP = "halt"
SAYS = {"jaw-closed": "jaw closed", "jaw-open": "still open", "again": "say again", STOP: "stop"}
LIVE = Live(
    "en",
    {name: (said,) for name, said in SAYS.items()},
    critical=frozenset({"jaw-closed"}),
    emergency=frozenset({STOP}),
    reading="pressure",
)
CLEAR = Levels(-20.0, -50.0, 0.0)


def ranked(phrase: str, heard: float, text: str = "") -> Ranked:
    """One text as the ranking ear has it."""
    off = min(0.0, heard + 1.0) / 4  # a text that does not fit does not begin or end well either
    return Ranked(phrase, text or f"{SAYS[phrase].capitalize()}.", heard, -20.0, opens=off, closes=off, ends=-0.1)


def weighed(phrase: str, heard: float, text: str = "") -> Weighed:
    """One text as the weighing ear has it."""
    off = min(0.0, heard + 1.0) / 4
    said = text or f"{SAYS[phrase].capitalize()}."
    return Weighed(phrase, said, heard, -20.0, last=off - 0.1)


def found(first: str, second: str, *, sure: bool = True) -> Evidence:
    """What both ears find: each with its own leading phrase; "" leads with nothing likely."""
    good, poor = (-0.5 if sure else -22.0), -30.0
    one = best_by_phrase(ranked(name, good if name == first else poor) for name in SAYS)
    other = best_by_phrase(weighed(name, good if name == second else poor) for name in SAYS)
    written = f"{SAYS[first].capitalize()}." if sure and first else "What a life."
    return Evidence(one, other, written, freely=one[0].gain, second_freely=other[0].gain)


def heard(first: str, second: str, *, sure: bool = True, **more: object) -> Outcome:
    """What the rule makes of it."""
    settings: dict[str, object] = {"third": None, "levels": CLEAR, **more}
    return decide(found(first, second, sure=sure), live=LIVE, limits=LIMITS, **settings)  # type: ignore[arg-type]


def test_a_critical_answer_needs_both() -> None:
    """A wrong "jaw closed" kills: neither ear alone, however sure, may give it."""
    assert heard("jaw-closed", "jaw-closed").phrase == "jaw-closed"
    for other in ("jaw-open", "again"):
        assert heard("jaw-closed", other).phrase is None
        assert heard(other, "jaw-closed").phrase != "jaw-closed"
    assert heard("jaw-closed", "jaw-closed", sure=False).phrase is None


def test_a_critical_answer_that_is_likely_but_not_sure_is_asked_again_for_that_reason() -> None:
    """Hazard: the driver hears "with one ear" where two heard it, and looks for a fault that is not there."""
    evidence = found("jaw-closed", "jaw-closed")
    sure = odds(evidence, "jaw-closed", LIMITS.weights)
    strict = replace(LIMITS, answer=sure - 1, critical=sure + 1)
    assert decide(evidence, None, LIVE, strict, CLEAR).unheard is Unheard.UNSURE
    assert decide(evidence, None, LIVE, replace(strict, critical=sure - 1), CLEAR).phrase == "jaw-closed"


@pytest.mark.parametrize(("one", "two"), list(itertools.product(SAYS, repeat=2)))
@pytest.mark.parametrize("sure", [True, False])
def test_whatever_comes_a_critical_answer_is_never_from_one_ear(one: str, two: str, sure: bool) -> None:
    """Over every pair of findings: a critical phrase only where both put it first, and surely."""
    assert heard(one, two, sure=sure).phrase != "jaw-closed" or (one == two == "jaw-closed" and sure)


@pytest.mark.parametrize("one", ["again", "jaw-open"])
def test_no_answer_comes_from_one_ear(one: str) -> None:
    """Hazard: "still open" or "say again" that one ear hears and the other does not is somebody else's talk."""
    assert heard(one, one).phrase == one
    for other in SAYS.keys() - {one}:
        assert heard(one, other).phrase in (None, STOP)


def nearly(second: dict[str, float]) -> Evidence:
    """What both ears find where the first is sure of "say again", and the second as given."""
    one = found("again", "").ranked
    return Evidence(one, best_by_phrase(weighed(name, second.get(name, -30.0)) for name in SAYS), "Say a game.")


@pytest.mark.parametrize("other", ["jaw-open", STOP])
def test_what_one_ear_puts_second_by_a_little_is_asked_again(other: str) -> None:
    """Hazard: one ear's word is enough for an answer, or a stop under the limit becomes "say again"."""
    close = nearly({"again": -0.9, other: -0.4})
    assert (close.leading, close.second_leading, close.agreed) == ("again", other, False)
    lenient = replace(LIMITS, answer=-99.0, critical=-99.0, emergency=99.0)
    assert decide(close, None, LIVE, lenient, CLEAR).unheard is Unheard.EARS_DISAGREE
    assert decide(nearly({"again": -0.4, other: -0.9}), None, LIVE, lenient, CLEAR).phrase == "again"


def test_ears_that_differ_on_a_critical_answer_say_so() -> None:
    """The trainer must see from the log why the driver had to say it again."""
    evidence = found("jaw-closed", "jaw-closed")
    close = tuple(one if one.phrase != "jaw-open" else weighed("jaw-open", -0.4) for one in evidence.weighed)
    near = replace(evidence, weighed=best_by_phrase(close))
    assert near.second_leading == "jaw-open"
    outcome = decide(near, None, LIVE, LIMITS, CLEAR)
    assert (outcome.phrase, outcome.unheard) == (None, Unheard.EARS_DISAGREE)


def test_an_emergency_needs_either() -> None:
    """A shouted stop counts from whichever ear, in any noise, even overdriven."""
    loud = Levels(-20.0, -19.0, 0.5)
    assert heard(STOP, STOP, levels=loud).phrase == STOP
    assert heard("again", "again", levels=loud, third=Verdict(STOP, "stop")).phrase == STOP
    evidence = found("again", STOP)
    first = best_by_phrase(ranked(STOP, -1.5) if one.phrase == STOP else one for one in evidence.ranked)
    one_ear = Evidence(first, evidence.weighed, "Stop.")
    assert (one_ear.leading, one_ear.second_leading) == ("again", STOP)
    assert decide(one_ear, None, LIVE, LIMITS, loud).phrase == STOP
    evidence = found(STOP, "again")
    second = best_by_phrase(weighed(STOP, -1.5) if one.phrase == STOP else one for one in evidence.weighed)
    other_ear = replace(evidence, weighed=second)
    assert (other_ear.leading, other_ear.second_leading) == (STOP, "again")
    assert decide(other_ear, None, LIVE, LIMITS, loud).phrase == STOP


def test_the_second_ear_always_weighs_an_emergency() -> None:
    """Hazard: the stop stands too low in the first ear's ranking and the other ear is never asked."""
    many = tuple(ranked(f"p{i}", -1.0 - i, f"P {i}.") for i in range(CANDIDATES + 3))
    late = (*many, ranked(STOP, -30.0))
    assert (STOP, "Stop.") in candidates(late, LIVE)
    assert len(candidates(many, LIVE)) == CANDIDATES


def test_what_nothing_fits_is_no_answer() -> None:
    """Talk has a leading phrase too: the best of a closed set is not yet what was said."""
    for phrase in ("again", "jaw-open"):
        assert heard(phrase, phrase, sure=False).unheard is Unheard.NOT_A_PHRASE
    assert decide(Evidence((), (), "What a life."), None, LIVE, LIMITS, CLEAR).unheard is Unheard.NOT_A_PHRASE


@pytest.mark.parametrize(
    ("written", "more"),
    [
        ("Jaw closed.", False), ("Jaw closed. Jaw closed. Jaw", False), ("The jaw closed.", False),
        ("Okay, jaw closed.", False), ("Jaw closed yesterday.", True), ("Not jaw closed.", True),
        ("Is that jaw closed?", True), ("Okay not jaw closed.", True), ("Jaw is cloth.", False),
        ("The jaw closed. The jaw closed. Jaw clo", False), ("I'll, jaw closed.", False),
        ("Jaw closed, I think.", True), ("Jaw closed. Jaw open.", True), ("Jaw closed, jaw closed, no.", True),
        ("Jaw closed, uh", True), ("Okay, the jaw closed.", False), ("Jaw closed. J", True),
        ("Jaw closed. Jaw", True), ("Jaw, uh, closed, no.", True), ("Not jaw, uh, closed.", True),
        ("Jaw, uh, closed.", False), ("Jaw is hardly closed yet.", False), ("Jaw closed. Jaw closed. Uh", True),
    ],
)  # fmt: skip
def test_a_phrase_inside_a_sentence_is_no_answer(written: str, more: bool) -> None:
    """Hazard: "not jaw closed" becomes "jaw closed". The whole utterance must be the phrase."""
    evidence = found("jaw-closed", "jaw-closed")
    heard_in = replace(evidence, written=written)
    assert more_was_said(written, "Jaw closed.") is more
    assert (decide(heard_in, None, LIVE, LIMITS, CLEAR).phrase is None) is more


def test_what_takes_a_phrase_back_is_not_its_beginning_again() -> None:
    """Hazard: "nobody near the trailer … no" passes for the phrase said over, for it begins with "no"."""
    for text in ("Nobody near the trailer.", "Nothing happened.", "No pin lock fitted.", "Will not come apart."):
        for behind in ("no", "not", "uh no"):
            assert more_was_said(f"{text} {behind}", text), (text, behind)
            assert more_was_said(f"{text} {text} {behind}", text), (text, behind)
        assert not more_was_said(f"{text} {text} {text[:-2]}", text), text
        assert more_was_said(f"{text} {text[:-2]}", text), text


@pytest.mark.parametrize("bad", [math.nan, -math.inf])
@pytest.mark.parametrize("text", ["Jaw closed.", "Jaw is closed."])
def test_a_score_that_is_no_number_makes_no_answer(bad: float, text: str) -> None:
    """Hazard: a broken model's score that is no number passes every limit, for it is not below it."""
    one = found("jaw-closed", "jaw-closed")
    first = tuple(replace(each, text=text) if each.phrase == "jaw-closed" else each for each in one.ranked)
    assert decide(replace(one, ranked=first), None, LIVE, LIMITS, CLEAR).phrase == "jaw-closed"
    broken = best_by_phrase(
        replace(each, heard=bad, text=text) if each.phrase == "jaw-closed" else each for each in one.weighed
    )
    rivals = [replace(each, heard=math.nan) if each.phrase == "again" else each for each in one.weighed]
    odd_ones = [replace(one, ranked=first, weighed=broken), replace(one, ranked=first, weighed=tuple(rivals))]
    names = ("contrary", "elsewhere", "second_elsewhere", "freely", "second_freely")
    odd_ones += [replace(one, ranked=first, **{name: math.nan}) for name in names]
    for odd in odd_ones:
        assert decide(odd, None, LIVE, LIMITS, CLEAR).phrase is None


def test_a_score_that_is_no_number_still_stops() -> None:
    """Hazard: of a broken score nothing is believed, and the shout of "stop" is lost with it."""
    one = found(STOP, STOP)
    for name in ("contrary", "elsewhere", "freely"):
        assert decide(replace(one, **{name: math.nan}), None, LIVE, LIMITS, CLEAR).phrase == STOP


def test_a_sound_of_which_nothing_can_be_written_is_no_answer_but_may_be_a_stop() -> None:
    """Hazard: somebody's shout, of which nothing is written, has no rival and is taken for "stand by"."""
    for phrase in ("jaw-closed", "again"):
        for written in ("", " ", "..."):
            silent = replace(found(phrase, phrase), written=written)
            assert decide(silent, None, LIVE, LIMITS, CLEAR).unheard is Unheard.NOT_A_PHRASE
    assert decide(replace(found(STOP, STOP), written=""), None, LIVE, LIMITS, CLEAR).phrase == STOP


def test_a_denial_that_fits_better_makes_an_answer_unlikely_and_then_impossible() -> None:
    """Hazard: in noise the free text loses the "not" of "not jaw closed"; both ears still like it better with one."""
    evidence = found("jaw-closed", "jaw-closed")
    likely = [
        odds(replace(evidence, contrary=value), "jaw-closed", LIMITS.weights) for value in (-10.0, 0.0, 5.0)
    ]
    assert likely == sorted(likely, reverse=True)
    assert likely[0] > likely[2]
    denied = replace(evidence, contrary=LIMITS.contrary)
    lenient = replace(LIMITS, answer=-99.0, critical=-99.0)
    assert decide(denied, None, LIVE, lenient, CLEAR).unheard is Unheard.NOT_A_PHRASE
    assert decide(replace(evidence, contrary=-10.0), None, LIVE, lenient, CLEAR).phrase == "jaw-closed"
    stop = replace(found(STOP, STOP), contrary=99.0)
    assert decide(stop, None, LIVE, LIMITS, CLEAR).phrase == STOP  # "no, stop" is a stop


def test_a_grammar_ear_beside_the_pair_can_only_stop_or_refuse() -> None:
    """A third ear must not make an answer: its confidences mean nothing."""
    assert heard("again", "again", third=Verdict("jaw-open", "still open")).unheard is Unheard.EARS_DISAGREE
    assert heard("again", "again", third=Verdict("", "what life")).phrase == "again"
    assert heard("again", "again", sure=False, third=Verdict("again", "say again")).phrase is None


def test_noise_clipping_and_damage_are_told() -> None:
    """The driver must know what to do: come closer, hold it away, say it again."""
    for levels, damaged, reason in (
        (Levels(-20.0, -18.0, 0.0), False, Unheard.TOO_LOUD),
        (Levels(-3.0, -40.0, 0.3), False, Unheard.CLIPPED),
        (CLEAR, True, Unheard.DAMAGED),
    ):
        outcome = heard("again", "again", levels=levels, damaged=damaged)
        assert (outcome.phrase, outcome.unheard) == (None, reason)


def test_what_is_not_understood_in_loud_noise_is_put_down_to_the_noise() -> None:
    """A driver told only to say it again stands where he stands; what was understood there still counts."""
    quiet, loud = Levels(-20.0, -30.0, 0.0), Levels(-20.0, -25.0, 0.0)
    assert heard("again", "again", levels=loud).phrase == "again"
    for one, two in (("again", "jaw-open"), ("jaw-closed", "again"), ("", "")):
        assert heard(one, two, levels=quiet).unheard in {Unheard.EARS_DISAGREE, Unheard.NOT_A_PHRASE}
        assert heard(one, two, levels=loud).unheard is Unheard.TOO_LOUD
    denied = replace(found("again", "again"), written="Not say again.")
    assert decide(denied, None, LIVE, LIMITS, loud).unheard is Unheard.NOT_A_PHRASE  # the noise is not to blame
    assert decide_alone(Verdict("", "what life"), LIVE, LIMITS, loud).unheard is Unheard.TOO_LOUD


def numbers(heard: dict[str, float], second: dict[str, float]) -> Evidence:
    """What both ears find where readings are due: each value with its likelihood in the first and in the second."""
    one = best_by_phrase(ranked(f"<number> {value} psi", odds, f"{value} psi.") for value, odds in heard.items())
    other = best_by_phrase(weighed(f"<number> {value} psi", odds, f"{value} psi.") for value, odds in second.items())
    return Evidence(one, other, one[0].text)


def test_a_number_that_the_ears_hear_differently_is_refused() -> None:
    """A wrong value read back in a hurry is confirmed: where the ears differ, nothing is read back."""
    reading = decide(numbers({"110": -0.5, "190": -30}, {"110": -0.5, "190": -30}), None, LIVE, LIMITS, CLEAR).reading
    assert reading is not None
    assert (reading.value, reading.unit) == (110, "psi")
    differ = numbers({"110": -0.5, "190": -30}, {"110": -0.5, "190": -0.4})
    outcome = decide(differ, None, LIVE, LIMITS, CLEAR)
    assert (outcome.reading, outcome.phrase) == (None, None)
    unlikely = replace(numbers({"110": -25}, {"110": -25}), written="What a life.")
    assert decide(unlikely, None, LIVE, LIMITS, CLEAR).unheard is Unheard.BAD_NUMBER


def test_what_counts_elsewhere_is_not_taken_for_what_counts_here() -> None:
    """Hazard: "lines are crossed" where only "lines are off" counts: whichever ear knows better keeps the other out."""
    sure = found("jaw-closed", "jaw-closed")
    ahead = sure.ranked[0].gain + 12.0
    assert decide(sure, None, LIVE, LIMITS, CLEAR).phrase == "jaw-closed"
    for better in (replace(sure, elsewhere=ahead), replace(sure, second_elsewhere=ahead)):
        assert odds(better, "jaw-closed", LIMITS.weights) < odds(sure, "jaw-closed", LIMITS.weights)
    lenient = replace(LIMITS, answer=-99.0, critical=-99.0)
    assert decide(replace(sure, elsewhere=ahead), None, LIVE, lenient, CLEAR).phrase == "jaw-closed"
    both = replace(sure, elsewhere=ahead, second_elsewhere=ahead)
    assert decide(both, None, LIVE, lenient, CLEAR).unheard is Unheard.NOT_A_PHRASE
    stop = replace(found(STOP, STOP), elsewhere=ahead, second_elsewhere=ahead)
    assert decide(stop, None, LIVE, replace(LIMITS, emergency=-99.0), CLEAR).phrase == STOP  # it counts everywhere


@pytest.mark.parametrize("ear", ["freely", "second_freely"])
def test_a_phrase_is_less_likely_where_the_free_text_fits_better(ear: str) -> None:
    """Hazard: somebody's "hello" is taken for a phrase: nothing live fits better, but what was written freely does."""
    sure = found("again", "again")
    gain = sure.ranked[0].gain if ear == "freely" else sure.weighed[0].gain
    told = [odds(replace(sure, **{ear: gain + ahead}), "again", LIMITS.weights) for ahead in (-9.0, 0.0, 9.0, 19.0)]
    assert told == sorted(told, reverse=True)
    assert told[0] - told[-1] > 1
    none = odds(replace(sure, **{ear: -math.inf}), "again", LIMITS.weights)
    assert none >= told[0]


def test_a_phrase_that_the_sound_does_not_hold_is_none() -> None:
    """Hazard: one word of nobody's ("back") begins and ends as a phrase does, and nothing else fits better."""
    sure = found("again", "again")
    alone = replace(
        sure,
        ranked=(replace(sure.ranked[0], heard=-19.0), *sure.ranked[1:]),
        weighed=(replace(sure.weighed[0], heard=-19.0), *sure.weighed[1:]),
        freely=8.0,
        second_freely=8.0,
    )
    assert alone.leading == "again"
    assert decide(alone, None, LIVE, LIMITS, CLEAR).unheard is Unheard.NOT_A_PHRASE
    assert decide(sure, None, LIVE, LIMITS, CLEAR).phrase == "again"


def test_a_phrase_of_two_words_needs_more_than_a_longer_one() -> None:
    """Hazard: somebody's "flower" is "slower": what is short comes near much of what people say.

    Where hearing gains little for it, it is less likely than a longer one; it never is likelier, and a better sound
    helps it more.
    """

    def likely(text: str, gain: float) -> float:
        one = found("again", "again")
        ranking = tuple(replace(each, text=text) if each.phrase == "again" else each for each in one.ranked)
        heard = {"again": gain - 16.0, "jaw-open": -16.0}
        weighing = best_by_phrase(weighed(name, heard.get(name, -30.0)) for name in SAYS)
        return odds(replace(one, ranked=ranking, weighed=weighing), "again", LIMITS.weights)

    assert likely("Say again.", 1.0) < likely("Please say again.", 1.0) - 1
    assert all(likely("Say again.", gain) <= likely("Please say again.", gain) for gain in (-20.0, 0.0, 5.0, 9.0, 20.0))
    short, longer = (likely(text, 7.0) - likely(text, 1.0) for text in ("Say again.", "Please say again."))
    assert short > longer + 1


def test_the_odds_fall_with_every_doubt() -> None:
    """The fitted weights must not reward a doubt: better scores, and only those, make an answer likelier."""
    sure = odds(found("again", "again"), "again", LIMITS.weights)
    assert sure > odds(found("again", "jaw-open"), "again", LIMITS.weights)
    assert sure > odds(found("again", "again", sure=False), "again", LIMITS.weights)
    assert odds(found("again", "again"), "nothing-like-it", LIMITS.weights) == float("-inf")
    told = set(figures(found("again", "again"), "again")) | {"constant"}
    assert set(LIMITS.weights) | set(LIMITS.stop_weights) == told
    both = [*LIMITS.weights.items(), *LIMITS.stop_weights.items()]
    doubts = {"contrary", "short lacks"}
    assert all((weight < 0) is (name in doubts) for name, weight in both if name != "constant")


def test_one_ear_alone_never_gives_a_critical_answer() -> None:
    """Where only one recogniser can be had, the critical sights need the pad."""
    assert decide_alone(Verdict("again", "say again"), LIVE, LIMITS, CLEAR).phrase == "again"
    assert decide_alone(Verdict("jaw-closed", "jaw closed"), LIVE, LIMITS, CLEAR).unheard is Unheard.ONE_EAR_ONLY
    assert decide_alone(Verdict("", "what life"), LIVE, LIMITS, CLEAR).unheard is Unheard.NOT_A_PHRASE
    assert decide_alone(Verdict(STOP, "stop"), LIVE, LIMITS, Levels(-20.0, -19.0, 0.5)).phrase == STOP
    loud = decide_alone(Verdict("again", "say again"), LIVE, LIMITS, Levels(-20.0, -18.0, 0.0))
    assert loud.unheard is Unheard.TOO_LOUD
    reading = decide_alone(Verdict("<number>", "one one zero p s i"), LIVE, LIMITS, CLEAR).reading
    assert reading is not None
    assert (reading.value, reading.unit) == (110, "psi")
    assert decide_alone(Verdict("<number>", "one ten psi"), LIVE, LIMITS, CLEAR).unheard is Unheard.BAD_NUMBER


class _Even:
    """An ear to which every text is as likely as any other."""

    def share(self, phrase: str) -> float:
        """As the weighing ear."""
        return weighing_share(phrase)

    def likelihoods(self, sound: None, texts: Sequence[str]) -> list[float]:  # noqa: ARG002 - as an ear is asked
        """Say the same of all."""
        return [-10.0 for _ in texts]

    def unheard(self, texts: Sequence[str]) -> list[float]:
        """Say the same of all."""
        return [-40.0 for _ in texts]


@pytest.mark.parametrize("phrase", ["<number> 500", "jaw-closed"])
def test_what_was_written_freely_is_weighed_as_the_text_itself(phrase: str) -> None:
    """Hazard: the free text seems to gain what only the sums differ by, and every number is refused or none is."""
    itself = Weighed(phrase, "A text.", heard=-10.0, unheard=-40.0, last=-1.0)
    tried = fusion.tried_by(_Even(), None, ranked(phrase, -10.0, "A text."), "Nobody said a text.")
    assert tried.freely == itself.gain
    silent = fusion.tried_by(_Even(), None, ranked(phrase, -10.0, "A text."), " ")
    assert silent.freely == -math.inf
    assert len(silent.denied) == len(tried.denied) > 0
