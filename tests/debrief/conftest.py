"""Runs, a small fleet and the trainer's page over them, made once for all tests of a worker."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from made_runs import Made, fleet, with_mistakes

from assistant.debrief.folder import Folder
from assistant.debrief.moments import Moment
from assistant.debrief.notes import NoteBook
from assistant.debrief.server import Debrief
from assistant.debrief.sound import Sounds
from assistant.debrief.telling import Telling
from assistant.debrief.timeline import Timeline
from assistant.journal.keys import TabletKey, signing_key, tablet_key
from assistant.journal.lines import with_words
from assistant.prepare import Prepared, grammars, library, prepare
from tests.debrief.showing import SIZES, Open


@pytest.fixture(scope="session")
def couple() -> Prepared:
    """The coupling on the default rig."""
    return prepare(library(), grammars(), "couple")


@pytest.fixture(scope="session")
def key(tmp_path_factory: pytest.TempPathFactory) -> TabletKey:
    """A tablet's key."""
    return tablet_key(tmp_path_factory.mktemp("tablet"))


@pytest.fixture(scope="session")
def trainer(tmp_path_factory: pytest.TempPathFactory) -> TabletKey:
    """A trainer's key."""
    return signing_key(tmp_path_factory.mktemp("trainer"), "trainer")


@pytest.fixture(scope="session")
def mistakes(tmp_path_factory: pytest.TempPathFactory, key: TabletKey, couple: Prepared) -> Path:
    """A coupling with refusals, a failure and a wait, sound kept. Never written to."""
    return with_mistakes(Made(tmp_path_factory.mktemp("mistakes"), key, couple, audio=True))


@pytest.fixture(scope="session")
def moments(mistakes: Path, couple: Prepared) -> list[Moment]:
    """Its moments."""
    return told(mistakes, couple)


@pytest.fixture(scope="session")
def logs(tmp_path_factory: pytest.TempPathFactory, key: TabletKey, couple: Prepared, mistakes: Path) -> Path:
    """A folder as trainers have it: nine good runs, one that was altered, one whose words were forgotten."""
    folder = tmp_path_factory.mktemp("logs")
    made = fleet(folder, key, couple)
    shutil.copytree(mistakes, folder / mistakes.name)
    broken = shutil.copytree(made[1], folder / "altered-001") / "log.jsonl"
    data = broken.read_bytes()
    assert b'"kind":"refused"' in data
    broken.write_bytes(data.replace(b'"kind":"refused"', b'"kind":"allowed"', 1))
    return folder


@pytest.fixture
def small(tmp_path: Path, key: TabletKey, couple: Prepared) -> Made:
    """A run just begun, for a test to go on with as it likes."""
    return Made(tmp_path / "logs", key, couple)


@pytest.fixture(scope="session")
def page(tmp_path_factory: pytest.TempPathFactory, logs: Path, trainer: TabletKey) -> Iterator[Debrief]:
    """The page over the folder, with a real store under it."""
    from assistant.debrief.many import Many
    from assistant.debrief.views import Views
    from assistant.fleet.intake import take_in
    from assistant.fleet.store import Store

    home = tmp_path_factory.mktemp("home")
    with Store(home / "fleet.sqlite") as store:
        take_in(store, [logs], workers=1)
        folder = Folder(logs)
        made = Debrief(folder, NoteBook(home / "notes", trainer), Sounds(home / "voice"), 0, Many(folder, Views(store)))
        made.start()
        yield made
        made.close()


def told(run: Path, prepared: Prepared, *, exact: bool = True) -> list[Moment]:
    """Fold a run's records into moments."""
    fold = Timeline.begin(Telling(prepared), exact=exact)
    return [moment for entry, said in with_words(run) for moment in fold.take(entry, said)]


@pytest.fixture
def show(chromium: Any) -> Iterator[Open]:
    """Open a page; whatever it complains of, the policy's own complaints included, fails the test."""
    contexts: list[Any] = []
    faults: list[str] = []

    def opened(made: Debrief, size: tuple[int, int] = SIZES[0], **more: Any) -> Any:
        context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, accept_downloads=True, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda message: faults.append(message.text) if message.type == "error" else None)
        page.goto(made.address)
        page.wait_for_selector("tbody tr")
        return page

    yield opened
    for context in contexts:
        context.close()
    assert faults == []
