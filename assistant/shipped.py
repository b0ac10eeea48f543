"""Where the shipped procedures and grammars lie: in an installed wheel, or beside the checkout's package."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import InputError

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: str) -> Path:
    """Return the shipped folder of that name ("procedures" or "grammars")."""
    for place in (_PACKAGE / "data" / folder, _PACKAGE.parent / folder):
        if place.is_dir():
            return place
    raise InputError(f"The shipped folder {folder} is missing here; install Hitchcall again.")
