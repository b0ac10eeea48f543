"""One whole run made by the automatic driver: a real log, signed and chained, through power cuts and all."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Final

from assistant import __version__
from assistant.engine.events import Resumed
from assistant.engine.state import State
from assistant.errors import NotMeantError
from assistant.journal.disk import Disk
from assistant.journal.keys import TabletKey
from assistant.journal.records import Opened
from assistant.journal.resume import Resumer
from assistant.journal.room import ROOM
from assistant.journal.writer import Writer
from assistant.practice.automatic import AutomaticDriver, Conduct, PowerCutError
from assistant.practice.crew import Crew
from assistant.practice.faults import drawn, seeded
from assistant.practice.manner import Manner
from assistant.practice.mouth import QUIET_DB
from assistant.practice.pretence import PretenceClocks, PretenceVoice
from assistant.practice.starts import fit_of, start
from assistant.practice.truth import Truth
from assistant.prepare import Prepared, every_setting, grammars, library, prepare
from assistant.resume import fold
from assistant.session import Session

MOST_CUTS: Final = 6


class NoSync(Disk):
    """Writes without waiting for the disk: for logs that no power cut threatens."""

    def sync(self, fd: int) -> None:
        """Do nothing."""

    def sync_folder(self, path: Path) -> None:
        """Do nothing."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What a run is of."""

    procedure: str
    rig: str
    site: str
    crew: str


@dataclass(frozen=True, slots=True)
class Made:
    """A run that was made: its folder, how it ended ("" when it was left open), and what happened in it."""

    folder: Path
    setting: Setting
    outcome: str
    conduct: Conduct
    truth: Truth
    faults: tuple[str, ...]
    resumes: int
    records: int


@lru_cache(maxsize=512)
def ready_for(setting: Setting) -> Prepared | None:
    """Return a setting's loaded files and engine, None where the procedure is not meant for the rig."""
    try:
        return prepare(
            library(), grammars(), setting.procedure, rig=setting.rig, site=setting.site, crew=setting.crew
        )
    except NotMeantError:
        return None


@lru_cache(maxsize=1)
def all_settings() -> tuple[Setting, ...]:
    """Return every setting that has a run, in a fixed order."""
    where = library()
    found = (
        Setting(procedure, *setting) for procedure in where.names("procedures") for setting in every_setting(where)
    )
    return tuple(one for one in found if ready_for(one) is not None)


@dataclass(slots=True)
class Order:
    """What is wanted of one run. ``noise_db`` None is a typed run; ``tune`` may change the rig at the start."""

    setting: Setting
    name: str
    manner: Manner
    wall_ms: int
    seed: int
    key: TabletKey
    difficulty: int = 0
    faults: tuple[str, ...] | None = None
    call_sign: str = ""
    noise_db: float | None = QUIET_DB
    keep_words: bool = True
    disk: Disk | None = None
    tune: Callable[[Truth], Truth] = lambda truth: truth


def one_run(logs: Path, order: Order) -> Made:
    """Make one whole run in ``logs`` and return what happened; the run's errors are not caught."""
    chance = Random(order.seed)  # noqa: S311 - chance for drivers, not for keys
    prepared = ready_for(order.setting)
    if prepared is None:
        raise NotMeantError(f"{order.setting.procedure} is not meant for the rig {order.setting.rig}.")
    fit = fit_of(prepared.files, order.setting.crew)
    faults = order.faults
    if faults is None:
        faults = drawn(order.setting.procedure, fit, order.difficulty, chance)
    truth = order.tune(seeded(start(order.setting.procedure, fit), faults))
    crew = Crew(prepared.plan, truth)
    clocks = PretenceClocks(order.wall_ms, crew.wait)
    driver = AutomaticDriver(
        prepared, crew, clocks, order.manner, chance,
        noise_db=order.noise_db,
    )  # fmt: skip
    disk = order.disk or NoSync()
    salt = _salts(chance)
    writer = Writer.begin(logs, _opened(order, prepared), order.key, clocks=clocks, disk=disk, salt=salt)
    driver.crew.wait(0)
    resumes, ended = 0, False
    state, resumed = prepared.engine.initial(), None
    while True:
        driver.state = state
        session = Session(prepared, writer, driver, PretenceVoice(clocks), driver.show, sleep=_no_sleep)
        session.state = state
        try:
            ended = session.run(resumed)
            break
        except PowerCutError:
            writer.close()
            resumes += 1
            if resumes >= MOST_CUTS:
                driver.manner = replace(driver.manner, power_cut=0.0)
            writer, state = _go_on(writer.folder, prepared, order, clocks, chance, disk)
            resumed = Resumed(changed=False)
    writer.close()
    outcome = session.state.outcome.value if ended else ""
    records = writer._seq
    return Made(writer.folder, order.setting, outcome, driver.conduct, crew.truth, faults, resumes, records)


def _go_on(
    folder: Path, prepared: Prepared, order: Order, clocks: PretenceClocks, chance: Random, disk: Disk
) -> tuple[Writer, State]:
    """Leave what a power cut leaves, let time pass, and take the run up as ``hitchcall run --resume`` does."""
    if chance.random() < order.manner.torn:
        _tear(folder / "log.jsonl", chance)
    clocks.advance(chance.choice((2_000, 60_000, 900_000)))
    resumer = Resumer(folder, order.key, clocks=clocks, disk=disk)
    folded = fold(prepared, folder)
    preview = prepared.engine.decide(folded.state, Resumed(changed=False), 0).state
    writer = resumer.go_on(
        program=__version__,
        decayed=tuple(prepared.plan.fact_names[stale.fact] for stale in preview.stale),
        changed=(),
        restarted=not folded.same,
        files=prepared.hashes,
    )
    return writer, folded.state


def _tear(log: Path, chance: Random) -> None:
    """Leave the beginning of a line that was being written when the power went, and room behind it."""
    last = log.read_bytes().splitlines()[-1]
    with log.open("ab") as file:
        file.write(last[: chance.randrange(1, len(last))] + bytes(ROOM))
        file.flush()
        os.fsync(file.fileno())


def _opened(order: Order, prepared: Prepared) -> Opened:
    return Opened(
        run=order.name,
        program=__version__,
        procedure=order.setting.procedure,
        rig=order.setting.rig,
        site=order.setting.site,
        lang="en",
        ears="typed" if order.noise_db is None else "auto",
        voice="speaker",
        files=prepared.hashes,
        consent_audio=False,
        consent_words=order.keep_words,
        key=order.key.public,
        notes=(f"crew: {order.setting.crew}", "made by the automatic driver"),
        call_sign=order.call_sign,
    )


def _salts(chance: Random) -> Callable[[], str]:
    return lambda: f"{chance.getrandbits(128):032x}"


def _no_sleep(_seconds: float) -> None:
    return None
