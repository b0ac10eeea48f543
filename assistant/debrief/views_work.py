"""How work goes: times, refusals, steps answered too fast, failures."""

from __future__ import annotations

import pandas as pd

from assistant.debrief.asked import (
    PROCEDURE,
    RUNS,
    STEP,
    Asked,
    Shown,
    cells,
    in_order,
    plotted,
    table_of,
    with_share,
)
from assistant.debrief.blocks import Column
from assistant.debrief.names import Names
from assistant.debrief.plots import Bars
from assistant.debrief.telling import plain
from assistant.fleet import figures
from assistant.fleet.figures import Fleet


def times(store: Fleet, names: Names, asked: Asked) -> Shown:
    """How long procedures and steps take."""
    whole = figures.procedure_times(store, asked.chosen)
    steps = in_order(names, figures.step_times(store, asked.chosen))
    seconds = (
        Column("median_s", "Half within, s", number=True),
        Column("p90_s", "Nine in ten within, s", number=True),
    )
    visits = Column("visits", "Answers", number=True)
    return Shown(
        "Times",
        "How long does a procedure take, and each of its steps?",
        (
            table_of("Procedures that were done", whole, (PROCEDURE, RUNS, *seconds)),
            table_of("From a step's asking to its answer", steps, (*STEP, visits, RUNS, *seconds)),
        ),
        tuple(
            Bars(
                f"{plain(procedure).capitalize()}: time from asking to answer",
                "seconds",
                tuple(part["step"]),
                cells(part["median_s"]),
                cells(part["p90_s"]),
                "half of the answers within",
                "nine in ten within",
            )
            for procedure, part in plotted(steps, "procedure")
        ),
    )


def refusals(store: Fleet, names: Names, asked: Asked) -> Shown:
    """What was refused, and on what ground."""
    found = figures.refusals(store, asked.chosen)
    words = [names.refused(rule) for rule in found["refused"]]
    rules = [plain(rule) for rule in found["refused"]]
    found = found.assign(refused=rules, why=[told for told, _ in words], source=[source for _, source in words])
    columns = (
        PROCEDURE,
        Column("refused", "Rule"),
        Column("why", "In words"),
        Column("refusals", "Refusals", number=True),
        RUNS,
        Column("source", "Source"),
    )
    plots = tuple(
        Bars(
            f"{plain(procedure).capitalize()}: refusals by rule",
            "refusals",
            tuple(part["refused"]),
            cells(part["refusals"]),
        )
        for procedure, part in plotted(found, "procedure")
    )
    return Shown(
        "Refusals",
        "What do people announce too early, and which rule holds them back?",
        (table_of("Refusals by rule", found, columns),),
        plots,
    )


def fast(store: Fleet, names: Names, asked: Asked) -> Shown:
    """Steps answered before the driver could have walked there."""
    found = figures.too_fast(store, asked.walk, asked.chosen)
    if asked.walks:
        single = figures.too_fast(store, asked.walks, asked.chosen)
        found = pd.concat([found[~found["step"].isin(list(asked.walks))], single])
    steps = with_share(in_order(names, found), "visits", "too_fast")
    columns = (
        *STEP,
        Column("visits", "Answers", number=True),
        RUNS,
        Column("walking_s", "Walk, s", number=True),
        Column("too_fast", "Too fast", number=True),
        Column("share", "Of a hundred", number=True),
    )
    plots = tuple(
        Bars(
            f"{plain(procedure).capitalize()}: answered too fast",
            "out of a hundred answers",
            tuple(part["step"]),
            cells(part["share"]),
        )
        for procedure, part in plotted(steps[steps["too_fast"].fillna(0) > 0], "procedure")
    )
    return Shown(
        "Answered too fast",
        "Which steps are answered before anyone could have walked there and looked?",
        (table_of("Answers that came sooner than the walk takes", steps, columns),),
        plots,
    )


def failures(store: Fleet, _names: Names, asked: Asked) -> Shown:
    """Failed couplings, and how runs end."""
    failed = figures.failures(store, asked.chosen)
    ends = figures.outcomes(store, asked.chosen)
    ends = ends.assign(outcome=[plain(one) for one in ends["outcome"]])
    columns = (
        PROCEDURE,
        RUNS,
        Column("failed", "Runs with a failed coupling", number=True),
        Column("recovered", "Of these, done in the end", number=True),
        Column("failures", "Failed couplings", number=True),
    )
    tables = (
        table_of("Failed couplings, and recovered from", failed, columns),
        table_of("How runs ended", ends, (PROCEDURE, Column("outcome", "End"), RUNS)),
    )
    shown = failed[failed["failed"].fillna(0) > 0]
    plots = (
        (
            Bars(
                "Runs with a failed coupling",
                "runs",
                tuple(map(plain, shown["procedure"])),
                cells(shown["failed"]),
                cells(shown["recovered"]),
                "failed",
                "of these, done in the end",
            ),
        )
        if len(shown)
        else ()
    )
    return Shown("Failures", "How often does a coupling fail, and what comes after?", tables, plots)
