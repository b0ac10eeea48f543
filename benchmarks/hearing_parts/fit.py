"""Fits the odds: logistic regression on the figures of what both ears found."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from assistant.ears.closed_set import reading_texts
from assistant.ears.limits import LIMITS
from assistant.ears.odds import figures, more_was_said
from assistant.phrases.live import Live
from benchmarks.hearing_parts.collect import Record, evidence_of
from benchmarks.hearing_parts.material import STOP, Material, only_talks
from benchmarks.hearing_parts.outcomes import ANSWERS, NO_ANSWER, heard_by, outcome

NOT_OF_AN_ANSWER = ("first margin", "second margin", "second gain")
"""The smaller of the margins is enough: whichever ear knows better keeps a phrase out. What the weighing ear gains
tells of short phrases only."""
NOT_OF_A_STOP = ("short lacks", "margin", "contrary", "first ends", "second last",
                 "first freely", "second freely")  # fmt: skip
"""A "no, stop" is a stop, and so is one with more said after it; how it ends in the weighing ear, and what was written
freely, told nothing."""
RIDGE = 0.3
ROUNDS = 100

Floats = NDArray[np.float64]


Example = tuple[Record, Mapping[str, float], bool]
"""A record, the figures of a phrase in it, and whether that phrase was said."""


def _examples(records: Sequence[Record], *, readings: bool = False) -> list[Example]:
    """Return the phrase that both ears put first, if it is no stop, of each utterance: of readings, or of all else."""
    found = []
    for record in records:
        for heard in record["heard"] if (record["group"] == "reading") is readings else ():
            evidence = evidence_of(heard)
            if evidence.leading == STOP or not evidence.agreed:  # only what both put first can be an answer
                continue
            told = _without(NOT_OF_AN_ANSWER, figures(evidence, evidence.leading))
            refused = more_was_said(evidence.written, evidence.text)
            if told and (readings or not refused):  # of a number the free text is not asked
                found.append((record, told, evidence.leading == _truth(record)))
    return found


def _stops(records: Sequence[Record]) -> list[Example]:
    """Return the stop of each utterance where one of the ears puts it first."""
    found = []
    for record in records:
        for heard in record["heard"]:
            evidence = evidence_of(heard)
            if STOP in {evidence.leading, evidence.second_leading}:
                told = _without(NOT_OF_A_STOP, figures(evidence, STOP))
                if told:
                    found.append((record, told, record["truth"] == STOP))
    return found


def _without(names: Sequence[str], told: Mapping[str, float]) -> Mapping[str, float]:
    return {name: value for name, value in told.items() if name not in names}


def _truth(record: Record) -> str:
    """Return the id of what was said, as the ears name it."""
    if record["group"] != "reading":
        return str(record["truth"])
    named = reading_texts(str(record["truth"]), "", Live("en", {}, reading=str(record["reading"])))
    return named[0][0] if named else ""


def answer_weights(records: Sequence[Record]) -> dict[str, float]:
    """Return the weights of an answer's odds, from people's talk too; not from their stops and single words beside.

    Of people there are no answers: all that those words could add is that a person is no driver.
    """
    return _fit(_examples([record for record in records if only_talks(str(record["text"])) or not record["human"]]))


def stop_weights(records: Sequence[Record]) -> dict[str, float]:
    """Return the weights of a stop's odds, from people too: their "stop", and their "front" that sounds like it."""
    return _fit(_stops(records))


def _fit(examples: Sequence[Example]) -> dict[str, float]:
    names = list(examples[0][1])
    x = np.array([[1.0, *told.values()] for _, told, _ in examples])
    y = np.array([float(said) for _, _, said in examples])
    weights = np.zeros(x.shape[1])
    ridge = RIDGE * np.eye(len(weights))
    ridge[0, 0] = 1e-6
    for _ in range(ROUNDS):  # Newton's method
        share = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        slope = x.T @ (share - y) + ridge @ weights
        weights = weights - np.linalg.solve((x * (share * (1 - share))[:, None]).T @ x + ridge, slope)
    return dict(zip(["constant", *names], map(float, weights), strict=True))


def reached(
    records: Sequence[Record], material: Material, weights: Mapping[str, float], stop: Mapping[str, float]
) -> str:
    """Return, for some limits of an answer, what the whole rule makes of these clips; and of readings and stops."""
    lines = []
    for limit in sorted({-0.5, 0.0, 0.5, 1.0, LIMITS.answer}):
        limits = replace(LIMITS, answer=limit, weights=weights, stop_weights=stop)
        said: Counter[tuple[str, object, str]] = Counter()
        critical = 0
        for record in records:
            live = material.live_of(record)
            came = outcome("both", record, live, limits)
            group = "answers" if record["group"] in ANSWERS else str(record["group"])
            said[(group, record["snr"] if group == "answers" else "", came)] += 1
            if came in {"wrong", "taken"}:
                critical += any(name in live.critical for name in heard_by("both", record, live, limits))
        right = ", ".join(f"{snr:g} dB {said[('answers', snr, 'right')]}" for snr in (20.0, 10.0, 5.0))
        wrong = sum(said[("answers", snr, "wrong")] for snr in (20.0, 10.0, 5.0))
        others = ", ".join(f"{group} {said[(group, '', 'taken')]}" for group in sorted(NO_ANSWER))
        lines.append(f"from {limit:+.1f}: right {right}; wrong {wrong}; taken {others}; critical among them {critical}")
    numbers = _with_odds(_examples(records, readings=True), weights)
    for limit in sorted({0.0, 1.0, 2.0, 3.0, 4.0, LIMITS.reading}):
        taken = [said for odds, said, _ in numbers if odds >= limit]
        right, wrong = sum(taken), len(taken) - sum(taken)
        lines.append(f"readings from {limit:+.0f}: right {right}, wrong {wrong} of {len(numbers)}")
    for limit in sorted({-2.0, -1.0, 0.0, 1.0, LIMITS.emergency}):
        limits = replace(LIMITS, emergency=limit, weights=weights, stop_weights=stop)
        stops = [
            (record, STOP in heard_by("both", record, material.live_of(record), limits))
            for record in records
            if record["group"] != "reading"
        ]
        caught = sum(found for record, found in stops if record["truth"] == STOP)
        false = sum(found for record, found in stops if record["truth"] != STOP)
        lines.append(f"stops from {limit:+.1f}: caught {caught} of {sum(r['truth'] == STOP for r, _ in stops)}, "
                     f"false {false}")  # fmt: skip
    return "\n".join(lines)


def _with_odds(
    examples: Sequence[Example], weights: Mapping[str, float]
) -> list[tuple[float, bool, Record]]:
    return [
        (weights["constant"] + sum(weights[name] * value for name, value in told.items()), said, record)
        for record, told, said in examples
    ]
