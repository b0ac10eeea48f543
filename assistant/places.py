"""Where things are kept on this machine, after the XDG base directory specification."""

from __future__ import annotations

import os
from pathlib import Path


def _base(variable: str, fallback: str) -> Path:
    given = os.environ.get(variable, "")
    return (Path(given) if given else Path.home() / fallback) / "hitchcall"


def logs_folder() -> Path:
    """Where runs are logged unless ``--logs`` says otherwise."""
    return _base("XDG_STATE_HOME", ".local/state") / "logs"


def keys_folder() -> Path:
    """Where the tablet's own signing key is kept."""
    return Path(os.environ.get("HITCHCALL_KEYS", "") or _base("XDG_STATE_HOME", ".local/state") / "keys")


def notes_folder() -> Path:
    """Where a trainer's notes on runs are kept."""
    return _base("XDG_STATE_HOME", ".local/state") / "notes"


def cache_folder() -> Path:
    """Where prompts that were synthesised once are kept."""
    return _base("XDG_CACHE_HOME", ".cache")
