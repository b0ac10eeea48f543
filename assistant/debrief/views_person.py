"""One trainee beside the group: only when asked for by person, and only of who chose a call sign."""

from __future__ import annotations

from assistant.debrief.asked import (
    RUNS,
    STEP,
    Asked,
    Shown,
    cells,
    in_order,
    plotted,
    table_of,
)
from assistant.debrief.blocks import Column
from assistant.debrief.names import Names
from assistant.debrief.plots import Bars, Plot
from assistant.debrief.telling import plain
from assistant.fleet import person as people_of
from assistant.fleet.figures import Fleet


def person(store: Fleet, names: Names, asked: Asked) -> Shown:
    """One call sign beside the group: only when asked for by person, with consent."""
    question = "How does one trainee's pace compare with everybody's?"
    if not asked.by_person:
        note = (
            "Figures of one person are shown only when you ask for them, and only of people who chose a call sign for "
            "this. Tick “By person” when they have agreed to this look."
        )
        return Shown("One and the group", question, (), note=note)
    signs = people_of.call_signs(store, asked.chosen, by_person=True)
    people = tuple(map(str, signs["call_sign"]))
    tables = [
        table_of(
            "Call signs, in alphabetical order",
            signs,
            (
                Column("call_sign", "Call sign"),
                RUNS,
                Column("failed", "Runs with a failed coupling", number=True),
                Column("refusals", "Refusals", number=True),
            ),
        )
    ]
    plots: tuple[Plot, ...] = ()
    if asked.call_sign in people:
        both = in_order(names, people_of.against_group(store, asked.call_sign, asked.chosen, by_person=True))
        columns = (
            *STEP,
            Column("own_visits", "Own answers", number=True),
            Column("own_median_s", "Own half within, s", number=True),
            Column("visits", "Everybody's answers", number=True),
            Column("median_s", "Everybody's half within, s", number=True),
        )
        title = f"{asked.call_sign} and everybody, by step (own: the newest {people_of.NEWEST} runs)"
        tables.append(table_of(title, both, columns))
        plots = tuple(
            Bars(
                f"{plain(procedure).capitalize()}: {asked.call_sign} and everybody",
                "seconds",
                tuple(part["step"]),
                cells(part["own_median_s"]),
                cells(part["median_s"]),
                asked.call_sign,
                "everybody",
            )
            for procedure, part in plotted(both, "procedure")
        )
    return Shown("One and the group", question, tuple(tables), plots, people)
