"""Everything that counts together, at every step of every procedure, is safe to hear."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from ways import PROCEDURES, settings

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.state import Phase, Stale, State
from assistant.phrases.book import load_book
from assistant.phrases.craft import lint_book, lint_live
from assistant.phrases.live import Live
from assistant.phrases.mirror import check_mirror
from assistant.phrases.sounds import load_dictionary
from assistant.prepare import grammars


def test_no_two_answers_that_count_together_are_alike() -> None:
    """Hazard: in wind and diesel noise one answer is taken for the other, or for an act or a stop."""
    book = load_book(grammars(), "en")
    spec = find_spec("pocketsphinx")
    assert spec is not None
    assert spec.submodule_search_locations
    words = Path(spec.submodule_search_locations[0]) / "model" / "en-us" / "cmudict-en-us.dict"
    dictionary = load_dictionary(words, book.pronounce)
    sets: dict[tuple[object, ...], tuple[str, Live]] = {}
    for procedure in PROCEDURES:
        for one in settings(procedure):
            engine = Engine(one.plan)
            blank = one.plan.blank
            states = [(f"{procedure}: {step.id}", State(Phase.ASKING, at, blank, held=held))
                      for at, step in enumerate(one.plan.steps) for held in (False, True)]  # fmt: skip
            states += [(f"look: {look.id}", State(Phase.LOOKING, 0, blank, stale=(Stale(fact, ""),)))
                       for fact, look in one.plan.looks.items()]  # fmt: skip
            for name, state in states:
                ids = engine.live(state)
                key = (ids.phrases, ids.critical, ids.reading, one.crew)
                if key not in sets:
                    live = book.live(sorted(ids.phrases), critical=ids.critical, emergency=[commands.STOP],
                                     reading=ids.reading, mate=one.crew == "mate")  # fmt: skip
                    sets[key] = (name, live)
    assert len(sets) > 200
    faults = [*check_mirror(book), *lint_book(book, dictionary), *lint_live(book, list(sets.values()), dictionary)]
    assert [str(fault) for fault in faults] == []
