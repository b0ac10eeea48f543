"""Fits the odds: logistic regression on the figures of what both ears found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from assistant.ears.evidence import figures
from benchmarks.hearing_parts.collect import Record, evidence_of

RIDGE = 0.3
ROUNDS = 100

Floats = NDArray[np.float64]


def _examples(records: Sequence[Record]) -> list[tuple[Record, Mapping[str, float], bool]]:
    """Return (record, figures of the leading phrase, whether it was said) for each utterance but readings."""
    found = []
    for record in records:
        for heard in record["heard"] if record["group"] != "reading" else ():
            evidence = evidence_of(heard)
            told = figures(evidence, evidence.leading, heard["speech_db"] - heard["noise_db"])
            if told:
                found.append((record, told, evidence.leading == record["truth"]))
    return found


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
    rows = [
        (weights["constant"] + sum(weights[name] * value for name, value in told.items()), said, record)
        for record, told, said in _examples(records)
    ]
    lines = []
    for limit in (-1.0, 0.0, 1.0, 2.0, 3.0):
        parts = [f"from {limit:+.0f}:"]
        for snr in (20.0, 10.0, 5.0):
            true = [odds > limit and said for odds, said, record in rows if record["truth"] and record["snr"] == snr]
            wrong = [odds > limit and not said for odds, said, record in rows if record["snr"] == snr]
            parts.append(f"{snr:g} dB right {sum(true)} of {len(true)}, wrong {sum(wrong)} of {len(wrong)};")
        lines.append(" ".join(parts))
    worst = sorted(((odds, record["text"], record["snr"]) for odds, said, record in rows if not said), reverse=True)[:8]
    return "\n".join([*lines, "worst: " + "; ".join(f"{odds:.1f} {text} ({snr})" for odds, text, snr in worst)])
