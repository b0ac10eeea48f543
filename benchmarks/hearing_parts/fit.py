"""Fits the odds: logistic regression on the figures of what both ears found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.ears.closed_set import reading_texts
from assistant.ears.evidence import figures, more_was_said
from assistant.phrases.live import Live
from benchmarks.hearing_parts.collect import Record, evidence_of

RIDGE = 0.3
ROUNDS = 100

Floats = NDArray[np.float64]


def _examples(records: Sequence[Record], *, readings: bool = False) -> list[tuple[Record, Mapping[str, float], bool]]:
    """Return (record, figures of what leads, whether it was said) for each utterance: of readings, or all else."""
    found = []
    for record in records:
        for heard in record["heard"] if (record["group"] == "reading") is readings else ():
            evidence = evidence_of(heard)
            told = figures(evidence, evidence.leading, heard["speech_db"] - heard["noise_db"])
            if told and not more_was_said(evidence.written, evidence.ranked[0].text):  # refused by that rule already
                found.append((record, told, evidence.leading == _truth(record)))
    return found


def _truth(record: Record) -> str:
    """Return the id of what was said, as the ears name it."""
    if record["group"] != "reading":
        return str(record["truth"])
    named = reading_texts(str(record["truth"]), "", Live("en", {}, reading=str(record["reading"])))
    return named[0][0] if named else ""


def fit_weights(records: Sequence[Record]) -> dict[str, float]:
    """Return the weight of each figure and the constant."""
    examples = _examples(records)
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


def reached(records: Sequence[Record], weights: Mapping[str, float]) -> str:
    """Return, for some limits, how many are taken rightly and wrongly on these clips, and the worst ones."""
    rows = _with_odds(_examples(records), weights)
    lines = []
    for limit in (-1.0, 0.0, 1.0, 2.0, 3.0):
        parts = [f"from {limit:+.0f}:"]
        for snr in (20.0, 10.0, 5.0):
            true = [odds > limit and said for odds, said, record in rows if record["truth"] and record["snr"] == snr]
            wrong = [odds > limit and not said for odds, said, record in rows if record["snr"] == snr]
            parts.append(f"{snr:g} dB right {sum(true)} of {len(true)}, wrong {sum(wrong)} of {len(wrong)};")
        lines.append(" ".join(parts))
    numbers = _with_odds(_examples(records, readings=True), weights)
    for limit in (1.0, 2.0, 3.0, 4.0):
        taken = [said for odds, said, _ in numbers if odds > limit]
        right, wrong = sum(taken), len(taken) - sum(taken)
        lines.append(f"readings from {limit:+.0f}: right {right}, wrong {wrong} of {len(numbers)}")
    worst = sorted(
        ((odds, str(record["text"]), str(record["snr"])) for odds, said, record in rows if not said), reverse=True
    )[:8]
    return "\n".join([*lines, "worst: " + "; ".join(f"{odds:.1f} {text} ({snr})" for odds, text, snr in worst)])


def _with_odds(
    examples: Sequence[tuple[Record, Mapping[str, float], bool]], weights: Mapping[str, float]
) -> list[tuple[float, bool, Record]]:
    return [
        (weights["constant"] + sum(weights[name] * value for name, value in told.items()), said, record)
        for record, told, said in examples
    ]
