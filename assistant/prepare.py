"""Everything a run is made of, loaded and checked together, so that all faults are told at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.engine import commands
from assistant.engine.engine import Engine
from assistant.engine.state import Phase, Stale, State
from assistant.errors import Fault, FileFaults, InputError
from assistant.phrases.book import PhraseBook, load_book
from assistant.phrases.live import Live
from assistant.procedure.compile import compile_plan
from assistant.procedure.lint import check_phrases, check_reach, check_words, require
from assistant.procedure.load import Files, Library, load_files
from assistant.procedure.plan import Plan
from assistant.procedure.setting import CREWS
from assistant.shipped import shipped
from assistant.wording import Wording

DEFAULT_RIG = "slider-air"
DEFAULT_SITE = "us-handbook"


@dataclass(frozen=True, slots=True)
class Prepared:
    """One run, ready to begin."""

    files: Files
    plan: Plan
    book: PhraseBook
    engine: Engine
    wording: Wording

    @property
    def hashes(self) -> dict[str, str]:
        """Relative name → SHA-256 of every file the run depends on."""
        grammar = f"grammars/{self.book.lang}.toml"
        named = {f"procedures/{name}": digest for name, digest in self.files.hashes.items()}
        return {**named, grammar: self.book.sha256, f"{grammar}#decoys": self.book.decoys_sha256}

    def step_states(self) -> Iterator[tuple[str, State]]:
        """Yield (step or look id, a state in which it is asked) for every step, hold and look."""
        blank = self.plan.blank
        for index, step in enumerate(self.plan.steps):
            yield step.id, State(Phase.ASKING, index, blank, held=True)
            if step.hold is not None:
                yield step.id, State(Phase.ASKING, index, blank)
        for fact, look in self.plan.looks.items():
            yield look.id, State(Phase.LOOKING, 0, blank, stale=(Stale(fact, ""),))

    def live(self, state: State) -> Live:
        """Return what may be heard in ``state``."""
        ids = self.engine.live(state)
        return self.book.live(
            sorted(ids.phrases),
            critical=ids.critical,
            emergency={commands.STOP} & ids.phrases,
            reading=ids.reading,
            mate=self.plan.crew == "mate",
        )


def library(own: Path | None = None) -> Library:
    """Return the folders procedures come from: the yard's own, if named, over the shipped ones."""
    if own is not None and not own.is_dir():
        raise InputError(f"{own} is no folder; name the folder that holds your procedures.")
    return Library((own, shipped("procedures")) if own is not None else (shipped("procedures"),))


def grammars(own: Path | None = None) -> Path:
    """Return the folder of grammars: beside the yard's own procedures if it has one, else the shipped."""
    if own is not None and (own / "grammars").is_dir():
        return own / "grammars"
    return shipped("grammars")


def prepare(
    where: Library,
    book_folder: Path,
    procedure: str,
    *,
    rig: str = DEFAULT_RIG,
    site: str = DEFAULT_SITE,
    lang: str = "en",
    crew: str = "alone",
) -> Prepared:
    """Load one run; raises FileFaults with every fault of every file."""
    if crew not in CREWS:
        raise InputError(f"There is no crew {crew!r}; use {' or '.join(CREWS)}.")
    faults: list[Fault] = []
    files = book = None
    try:
        files = load_files(where, procedure, rig, site, lang)
    except FileFaults as error:
        faults += error.faults
    try:
        book = load_book(book_folder, lang)
    except FileFaults as error:
        faults += error.faults
    if files is None or book is None:
        raise FileFaults(faults)
    try:
        plan = compile_plan(files, crew)
    except FileFaults as error:
        raise FileFaults([*error.faults, *check_words(files)]) from None
    require([*check_words(files), *check_phrases(plan, book), *check_reach(plan)])
    return Prepared(files, plan, book, Engine(plan), Wording(files, plan, book))


def every_setting(where: Library) -> Iterator[tuple[str, str, str]]:
    """Yield (rig, site, crew) for every combination the library has."""
    for rig in where.names("rigs"):
        for site in where.names("sites"):
            for crew in CREWS:
                yield rig, site, crew
