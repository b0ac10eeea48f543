"""The statistics worked out a second time: straight from the JSON Lines, with pandas, sharing no code with the store.

Only lines are read that a sound log has. Written from what the figures promise (`assistant.fleet.figures`), by
looking back from each answer to where its step was asked, where the store's own reading goes forward.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

COUNTS = {"accepted", "failed", "restarted", "ended"}
BREAKS = COUNTS | {"begun", "resumed", "stopped", "waiting", "deaf", "went-on", "hearing-back"}
UNDONE = ("unfinished", "given-up", "halted")
IN_BASE = {
    "psi": ("kPa", "6.894757"), "bar": ("kPa", "100"), "kPa": ("kPa", "1"), "in": ("mm", "25.4"), "mm": ("mm", "1"),
    "s": ("s", "1"), "min": ("s", "60"), "deg": ("deg", "1"),
}  # fmt: skip
EDGES = np.array(
    [*range(20), *range(20, 40, 2), *range(40, 100, 5), *range(100, 200, 10), *range(200, 400, 20),
     *range(400, 1000, 50), *range(1000, 2000, 100), *range(2000, 4000, 200), *range(4000, 10_001, 500)]
)  # fmt: skip
"""The scale of times, as its documentation tells it: steps of 1 s below 20 s, then never over an eighth."""


@dataclass(frozen=True)
class Read:
    """All that was read, a table for each kind of thing; every row bears what its run is of."""

    runs: pd.DataFrame
    answers: pd.DataFrame
    refusals: pd.DataFrame
    hearings: pd.DataFrame
    readings: pd.DataFrame

    def of(self, **chosen: object) -> Read:
        """Leave out what was not chosen."""

        def keep(told: pd.DataFrame) -> pd.DataFrame:
            if told.empty:
                return told
            for name, value in chosen.items():
                if name == "first_month":
                    told = told[told["month"] >= value]
                elif name == "last_month":
                    told = told[told["month"] <= value]
                else:
                    told = told[told[name] == value]
            return told

        return Read(*(keep(one) for one in (self.runs, self.answers, self.refusals, self.hearings, self.readings)))


def read(logs: Iterable[Path]) -> Read:
    """Read the logs."""
    kinds: dict[str, list[dict[str, Any]]] = {name: [] for name in ("runs", "answers", "refusals", "hearings", "readings")}
    for log in logs:
        records = [json.loads(line) for line in log.read_bytes().splitlines()]
        run = _run(records)
        kinds["runs"].append(run)
        decided = [one for one in records if one["type"] == "decided"]
        for name, rows in (
            ("answers", list(_answers(decided))), ("refusals", _refusals(decided)), ("hearings", _hearings(records)),
        ):  # fmt: skip
            kinds[name] += [{**run, **row} for row in rows]
        kinds["readings"] += [{**run, **row} for row in _readings(decided, run["day"])]
    return Read(**{name: pd.DataFrame(rows) for name, rows in kinds.items()})


def _run(records: list[dict[str, Any]]) -> dict[str, Any]:
    first = records[0]
    opened = first["data"]
    forgotten = {what for one in records if one["type"] == "forgotten" for what in one["data"]["what"]}
    call_sign = "" if "words" in forgotten else opened["call_sign"]
    happened = [one for one in records if one["type"] in {"opened", "decided", "heard", "closed"}]
    away = sum(one["data"].get("away_ms") or 0 for one in records if one["type"] == "resumed")
    ends = [one["data"]["outcome"] for one in records if one["type"] == "closed"]
    began = datetime.fromisoformat(first["wall"])
    who = hashlib.sha256((call_sign or opened["key"]).encode()).digest()[:8]
    return {
        "key": f"{opened['key']}/{opened['run']}", "procedure": opened["procedure"], "rig": opened["rig"],
        "site": opened["site"], "month": first["wall"][:7], "practice": "practice" in opened["notes"],
        "call_sign": call_sign, "person": int.from_bytes(who, "big") % 62,
        "outcome": ends[-1] if ends else "unfinished", "day": (began - datetime(1970, 1, 1, tzinfo=UTC)).days,
        "lasted": scaled(max(0, happened[-1]["mono"] - away)),
        "failures": sum(one["type"] == "decided" and one["data"]["decision"]["kind"] == "failed" for one in records),
    }  # fmt: skip


def scaled(ms: int) -> int:
    """Return the edge of the scale at or below a time."""
    return int(EDGES[np.searchsorted(EDGES, ms // 1000, side="right") - 1])


def _place(decision: Mapping[str, Any]) -> tuple[str, bool] | None:
    """Where a decision left the run asking: a step, or a look; None where it asks nothing."""
    if decision["phase"] == "looking" and decision["looks"]:
        return decision["looks"][0], True
    return (decision["step"], False) if decision["phase"] in {"asking", "looking"} else None


def _breaks(decision: Mapping[str, Any]) -> bool:
    return decision["kind"] in BREAKS or (decision["kind"], decision["reason"]) == ("taken-back", "last-answer")


def _asked(decided: list[dict[str, Any]], at: int) -> int | None:
    """Return which decision asked what the one at ``at`` answers; None where nothing was asked."""
    place, since = None, None
    for back in range(at - 1, -1, -1):
        decision = decided[back]["data"]["decision"]
        here = _place(decision)
        if here is not None and place is not None and here != place:
            return since
        if here is not None:
            place, since = here, back
        if _breaks(decision):
            return since
    return since


def _answers(decided: list[dict[str, Any]]) -> Iterable[dict[str, Any]]:
    """Each answer that counted, with what came between it and its asking."""
    for at, one in enumerate(decided):
        decision = one["data"]["decision"]
        if decision["kind"] not in COUNTS or decision["reason"] in {"asked-for", "given-up"}:
            continue
        since = _asked(decided, at)
        if since is None:
            continue
        between = decided[since + 1 : at]
        said = _read_back(between) or one
        event, step = said["data"]["event"], _place(decided[since]["data"]["decision"])
        assert step is not None
        name = event.get("phrase") if event["event"] != "measured" else f"reading:{said['data']['decision']['rule']}"
        told = [(two["data"]["decision"]["kind"], two["data"]["decision"]["reason"], two["data"]["event"]["event"]) for two in between]
        yield {
            "step": step[0], "answer": name, "took": scaled(said["mono"] - decided[since]["mono"]), "at": at,
            "missed": sum(kind == "asked-again" and event == "not-heard" for kind, _, event in told),
            "again": sum(kind == "repeated" or (kind == "asked-again" and reason == "silence") for kind, reason, _ in told),
            "said": said,
        }  # fmt: skip


def _read_back(between: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Return the decision that read back what was confirmed in the end."""
    for one in reversed(between):
        decision = one["data"]["decision"]
        if decision["kind"] == "taken-back":
            return None
        if decision["kind"] == "read-back":
            return None if decision["lines"] and decision["lines"][0][1] == "command-ask" else one
    return None


def _refusals(decided: list[dict[str, Any]]) -> list[dict[str, Any]]:
    told = [one["data"]["decision"] for one in decided if one["data"]["decision"]["kind"] == "refused"]
    return [{"refused": one["rule"] if one["reason"] == "never" else one["reason"]} for one in told]


def _hearings(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    heard = [one["data"] for one in records if one["type"] == "heard"]
    bands = [None if one["noise_db"] is None else math.floor(float(one["noise_db"]) / 10) * 10 for one in heard]
    return [{"band": band, "missed": bool(one["unheard"])} for band, one in zip(bands, heard, strict=True)]


def _readings(decided: list[dict[str, Any]], day: int) -> Iterable[dict[str, Any]]:
    for answer in _answers(decided):
        event = answer["said"]["data"]["event"]
        if event["event"] != "measured":
            continue
        base, factor = IN_BASE[event["unit"]]
        milli = (Decimal(event["value"]) * Decimal(factor) * 1000).to_integral_value(ROUND_HALF_EVEN)
        lines = decided[answer["at"]]["data"]["decision"]["lines"]
        yield {
            "limit_name": answer["answer"].removeprefix("reading:"), "base_unit": base, "milli": int(milli),
            "outside": not any(line[1] == "within" for line in lines), "day": day,
        }  # fmt: skip


def quantile(times: pd.Series, share: float) -> int:
    """Return the time in which a share of them is reached."""
    return int(np.sort(times.to_numpy())[int(np.ceil(round(share * len(times), 6))) - 1])


def summed(told: pd.DataFrame, by: list[str], **sums: Any) -> pd.DataFrame:
    """Return one row a group in the order of names: ``sums`` of it, how many runs, and how many people's marks."""
    rows = []
    for name, group in told.groupby(by, sort=True):
        row = dict(zip(by, name, strict=True)) | {one: value(group) for one, value in sums.items()}
        rows.append(row | {"runs": row.get("runs", group["key"].nunique()), "people": group["person"].nunique()})
    return pd.DataFrame(rows, columns=[*by, *sums, *({"runs"} - set(sums)), "people"])
