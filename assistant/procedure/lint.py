"""What is wrong with procedure and word files beyond their shape, all at once.

Needs no recogniser and no exploration: words for everything that can be said, phrases for everything
that can be answered, no reserved ids, no step that nothing leads to.
"""

from __future__ import annotations

from collections.abc import Iterable

from assistant.engine.commands import SESSION_PHRASES
from assistant.errors import Fault, FileFaults
from assistant.phrases.book import PhraseBook
from assistant.phrases.live import Role, Unheard
from assistant.procedure.load import Files
from assistant.procedure.model import Signal
from assistant.procedure.plan import Plan
from assistant.procedure.words import LINE_PLACES, places_of


def _differ(
    file: str, table: str, wanted: Iterable[str], given: Iterable[str], *, spare: bool = False
) -> list[Fault]:
    """Faults for texts that are missing, and for texts that belong to nothing."""
    wanted, given = set(wanted), set(given)
    faults = [Fault(file, "has no text; add one", field=f"{table}.{one}") for one in sorted(wanted - given)]
    if not spare:
        faults += [
            Fault(file, "is a text that nothing uses; remove it", field=f"{table}.{one}")
            for one in sorted(given - wanted)
        ]
    return faults


def check_words(files: Files) -> list[Fault]:
    """Every step, hazard, rule, look, act and line has its text; every text is used."""
    own = str(files.paths.get(f"{files.procedure.id}/{files.lang}.toml", files.lang))
    shared = str(files.paths.get(f"{files.lang}.toml", files.lang))
    yard, words = files.yard, files.yard_words
    faults = _differ(own, "step", (step.id for step in files.procedure.step), files.words.step)
    for table, wanted, given in (
        ("hazard", [hazard.id for hazard in yard.hazard], words.hazard),
        ("never", [rule.id for rule in yard.never], words.never),
        ("look", list(yard.look), words.look),
        ("act", list(yard.acts), words.act),
        ("line", list(LINE_PLACES), words.line),
        ("unheard", [str(why) for why in Unheard], words.unheard),
        ("signal", [str(signal) for signal in Signal], words.signal),
        ("who", [str(who) for who in Role], words.who),
    ):
        faults += _differ(shared, table, wanted, given)
    named = {f"rigs/{files.rig_name}.toml": files.rig.title, f"sites/{files.site_name}.toml": files.site.title}
    for name, titles in named.items():
        faults += _differ(str(files.paths.get(name, name)), "title", [files.lang], titles, spare=True)
    for key, text in words.line.items():
        faults += _places(shared, key, text)
    return faults


def _places(file: str, key: str, text: str) -> list[Fault]:
    try:
        found = places_of(text)
    except ValueError as error:
        return [Fault(file, f"has a broken place: {error}", field=f"line.{key}")]
    allowed = LINE_PLACES.get(key, frozenset())
    strange = sorted(found - allowed)
    return [
        Fault(file, f"names {{{one}}}, which this line does not have", field=f"line.{key}") for one in strange
    ]


def check_phrases(plan: Plan, book: PhraseBook) -> list[Fault]:
    """Every phrase a run may wait for is in the book, and none takes a session word's id."""
    wanted: dict[str, str] = dict.fromkeys(SESSION_PHRASES, "")
    for act in plan.acts.values():
        wanted.setdefault(act.announce, act.id)
    faults = []
    for step in (*plan.steps, *plan.looks.values()):
        phrases = [*step.answers, *([step.hold.begin] if step.hold else [])]
        for phrase in phrases:
            if phrase in SESSION_PHRASES:
                faults.append(Fault(plan.procedure, f"answers with the session word {phrase!r}", step.id, "answer"))
            wanted.setdefault(phrase, step.id)
    file = str(book.path)
    faults += [
        Fault(file, f"has no phrase {phrase!r}; add it with its wording", step, "phrases")
        for phrase, step in wanted.items()
        if phrase not in book.phrases
    ]
    return faults


def check_reach(plan: Plan) -> list[Fault]:
    """Every step can be come to by some answer."""
    seen: set[int] = set()
    todo = [0]
    while todo:
        at = todo.pop()
        if at < 0 or at in seen:
            continue
        seen.add(at)
        step = plan.steps[at]
        todo += [answer.next for answer in step.answers.values()]
        if step.reading is not None:
            todo += [step.reading.within.next, step.reading.outside.next]
    return [
        Fault(plan.procedure, "cannot be come to by any answer", step.id, "step")
        for index, step in enumerate(plan.steps)
        if index not in seen
    ]


def require(faults: Iterable[Fault]) -> None:
    """Raise all faults at once, if there are any."""
    found = tuple(dict.fromkeys(faults))
    if found:
        raise FileFaults(found)
