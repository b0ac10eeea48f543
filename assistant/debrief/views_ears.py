"""How the ears do: what is not understood, by phrase, noise and site."""

from __future__ import annotations

from assistant.debrief.asked import (
    MOST_BARS,
    RUNS,
    Asked,
    Shown,
    cells,
    table_of,
    with_share,
)
from assistant.debrief.blocks import Column
from assistant.debrief.names import Names
from assistant.debrief.plots import Bars
from assistant.debrief.telling import plain
from assistant.fleet import figures
from assistant.fleet.figures import Fleet


def understood(store: Fleet, names: Names, asked: Asked) -> Shown:
    """What is not understood: by phrase, noise and site."""
    phrase = figures.not_understood_by_phrase(store, asked.chosen)
    phrase = with_share(phrase.assign(words=[names.phrase(one) for one in phrase["answer"]]), "visits")
    noise = with_share(figures.not_understood_by_noise(store, asked.chosen), "hearings")
    noise = noise.assign(level=[f"from {band} to {band + 10} dB" for band in noise["band"].astype(int)])
    site = with_share(figures.not_understood_by_site(store, asked.chosen), "hearings")
    missed, share = (
        Column("not_understood", "Not understood", number=True),
        Column("share", "Of a hundred", number=True),
    )
    heard = Column("hearings", "Heard", number=True)
    tables = (
        table_of(
            "By the answer that counted in the end",
            phrase,
            (
                Column("words", "Answer"),
                Column("visits", "Answers", number=True),
                RUNS,
                missed,
                Column("asked_again", "Said again on asking", number=True),
                share,
            ),
        ),
        table_of(
            "By noise at the microphone, dB of full scale",
            noise,
            (Column("level", "Noise"), heard, RUNS, missed, share),
        ),
        table_of("By site", site, (Column("site", "Site"), heard, RUNS, missed, share)),
    )
    often = phrase[phrase["not_understood"].fillna(0) > 0]
    plots = (
        Bars("Not understood, by noise", "out of a hundred hearings", tuple(noise["level"]), cells(noise["share"])),
        Bars(
            "Not understood before an answer counted",
            "times for a hundred answers",
            tuple(often["words"])[:MOST_BARS],
            cells(often["share"])[:MOST_BARS],
        ),
        Bars(
            "Not understood, by site",
            "out of a hundred hearings",
            tuple(map(plain, site["site"])),
            cells(site["share"]),
        ),
    )
    return Shown(
        "Not understood",
        "Where do the ears fail: at which phrase, in what noise, at which site?",
        tables,
        plots,
    )
