"""Scoring a closed set: what one text is worth, given a sound, and which text leads.

A text's likelihood given the sound is not enough to rank by: a short and common text ("stop") is
likely whatever was said, and in noise it would beat every longer one. So a share of the text's
likelihood without any sound, from the same model, is taken off: what is left is what hearing gained
("internal language model subtraction"; the idea is published, the name is from memory). Measured on
168 clips with 60 phrases live, the ranking ear's leading phrase was then right in 84 of 84 at 10 dB and
in 76 of 84 at 5 dB, instead of 72 and 62.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from assistant.ears.live_words import NUMBER, ways
from assistant.phrases.live import Live, Reading
from assistant.phrases.match import match
from assistant.phrases.number_walk import WRITTEN
from assistant.phrases.words import normalise

MOST_PLACES = 2  # a fraction of an inch is not written as a long decimal

RANKING_SHARE = 0.6
WEIGHING_SHARE = 0.8
"""How much of the likelihood without sound is taken off, in the ranking and in the weighing ear.

On 246 fitting clips at 10 and 5 dB the ranking ear was right 236 times with 0.6, 230 with 0.5 and 235 with 0.7; the
weighing ear 228 times with 0.6, 234 with 0.8, because "stop" won less often in noise, and no more often with 0.9.
"""

READING_SHARE = 0.5
"""The same for readings in the weighing ear, or longer ones win there ("5000" for "500").

Of 168 fitting clips both ears put 114 first rightly and 7 wrongly; with 0.8, 14 wrongly. That a reading then stands
some nats further behind the phrases that count beside it is counted in.
"""


def weighing_share(phrase: str) -> float:
    """Return how much of the likelihood without sound is taken off for a phrase in the weighing ear."""
    return READING_SHARE if phrase.startswith(NUMBER) else WEIGHING_SHARE


@dataclass(frozen=True, slots=True)
class Scored:
    """One text against one sound: natural-log likelihoods given the sound and without any."""

    phrase: str
    text: str
    heard: float
    unheard: float

    @property
    def gain(self) -> float:
        """What hearing adds to the text; the figure to rank by."""
        return self.heard - RANKING_SHARE * self.unheard


@dataclass(frozen=True, slots=True)
class Ranked(Scored):
    """A text as the ranking ear has it; all natural logarithms, 0 at best.

    ``opens``: how much likelier another beginning is than the text's first piece. ``closes``: the same
    for its full stop and end together. ``ends``: how likely nothing comes after the full stop.
    """

    opens: float
    closes: float
    ends: float


@dataclass(frozen=True, slots=True)
class Weighed(Scored):
    """A text as the weighing ear has it; ``last``: log-probability of its last piece, the full stop."""

    last: float

    @property
    def gain(self) -> float:
        """What hearing adds to the text."""
        return self.heard - weighing_share(self.phrase) * self.unheard


Sound_contra = TypeVar("Sound_contra", contravariant=True)


class Scorer(Protocol[Sound_contra]):
    """What is asked of either ear about texts that are no phrases."""

    def share(self, phrase: str) -> float:
        """Return how much of the likelihood without sound is taken off for a phrase, or what is weighed beside it."""

    def likelihoods(self, sound: Sound_contra, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text, given the sound."""

    def unheard(self, texts: Sequence[str]) -> list[float]:
        """Return the natural-log likelihood of each text without any sound."""


Kind = TypeVar("Kind", bound=Scored)
Known = TypeVar("Known")

TEXTS_KEPT = 4096
AT_ONCE = 8  # texts scored together: more is no quicker, and the room for it stays taken


def sentences(live: Live) -> list[tuple[str, str]]:
    """Return (phrase id, text) for every way of every live phrase, written as a sentence.

    The models learnt from sentences, with capital and full stop.
    """
    return [(phrase, _sentence(way)) for way, phrase in ways(live).items()]


def sentences_elsewhere(live: Live) -> list[tuple[str, str]]:
    """Return ("", text) for every other way of the book's phrases: what can be said in a run, but does not count now.

    "Lines are crossed" said where only "lines are off" is live is then refused, not taken for what comes nearest.
    """
    known = ways(live)
    callers = ("", f"{live.mate} ") if live.mate else ("",)
    said = [f"{caller}{way}" for caller in callers for way in sorted(live.book)]
    return [("", _sentence(way)) for way in said if way not in known]


def _sentence(way: str) -> str:
    return f"{way[:1].upper()}{way[1:]}."


def lacking(texts: Iterable[str], known: dict[str, Known]) -> Iterator[list[str]]:
    """Yield, some at a time, the texts that are not among the ``known``.

    Those are forgotten first when they have become many: readings come without end.
    """
    if len(known) > TEXTS_KEPT:
        known.clear()
    todo = [text for text in dict.fromkeys(texts) if text not in known]
    for at in range(0, len(todo), AT_ONCE):
        yield todo[at : at + AT_ONCE]


def contraries(text: str) -> list[str]:
    """Return texts in which the whole of ``text`` is said without being meant: denied, asked, told of, or taken back.

    "Not jaw closed" holds "jaw closed", and in noise only its "not" is lost. What hearing gains for such a
    text shows that more was said.
    """
    whole = text.rstrip(".")
    within = whole[:1].lower() + whole[1:]
    return [form.format(whole=whole, within=within) for form, _ in _CONTRARY]


def contrary_gain(whole: float, contrary: Sequence[float]) -> float:
    """Return what hearing adds to the best of the `contraries` beyond the text itself.

    From their natural-log likelihoods, both ears' summed.
    """
    return max(one - whole + cost for one, (_, cost) in zip(contrary, _CONTRARY, strict=True))


_CONTRARY = (("Not {within}.", 9.3), ("Is that {within}.", 14.3), ("He said {within}.", 15.2), ("{whole}, no.", 13.9))
"""Each form, and the ears' shares of what its words cost them without any sound: the mean over 50 shipped phrases."""


def reading_texts(words: str, written: str, live: Live) -> list[tuple[str, str]]:
    """Return (id, text) for the ways to write a reading; none when its words are no reading.

    The id holds value and unit, so that two ways of saying one reading are one candidate.
    """
    found = reading_of(words, live)
    if found is None:
        return []
    figures = f"{found.value.normalize():f}"
    name = f"{NUMBER} {figures} {found.unit or ''}".strip()
    texts = [(name, f"{written[:1].upper()}{written[1:]}.")]
    if len(figures.partition(".")[2]) <= MOST_PLACES:
        who = f"{live.mate} " if live.mate and words.startswith(f"{live.mate} ") else ""
        said = f"{who}{figures} {found.unit or ''}".strip()
        texts.append((name, f"{said[:1].upper()}{said[1:]}."))
    return texts


def reading_of(text: str, live: Live) -> Reading | None:
    """Return the reading that a candidate's text is, as the number grammar understands it."""
    words = normalise(text)
    for letters, unit in WRITTEN.items():
        words = f" {words} ".replace(f" {unit} ", f" {letters} ").strip()
    return match(words, live).reading


def best_by_phrase(scored: Iterable[Kind]) -> tuple[Kind, ...]:
    """Return the best text of each phrase, the leading phrase first."""
    best: dict[str, Kind] = {}
    for one in scored:
        if one.phrase not in best or one.gain > best[one.phrase].gain:
            best[one.phrase] = one
    return tuple(sorted(best.values(), key=lambda one: -one.gain))
