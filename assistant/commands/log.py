"""``hitchcall log``: the log's own commands, with the engine at hand for ``log replay``."""

from __future__ import annotations

import os
from pathlib import Path

from assistant.commands.options import OWN_VARIABLE, prepared
from assistant.journal import commands
from assistant.journal.records import Opened
from assistant.prepare import Prepared
from assistant.resume import redecider


def _prepare_as(opened: Opened) -> Prepared:
    """Load what a run was made with; a yard's own folder is named in the environment."""
    own = os.environ.get(OWN_VARIABLE, "")
    crew = next((note.removeprefix("crew: ") for note in opened.notes if note.startswith("crew: ")), "alone")
    return prepared(opened.procedure, opened.rig, opened.site, crew, opened.lang, Path(own) if own else None)


commands.redecide_factory = redecider(_prepare_as)
log = commands.log
