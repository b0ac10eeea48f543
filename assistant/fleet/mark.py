"""What tells an exported folder from a folder of logs; here alone, so that asking loads nothing."""

from __future__ import annotations

from pathlib import Path

MARK = "hitchcall-export"
"""An empty file in every exported folder."""


def is_export(folder: Path) -> bool:
    """Return whether ``folder`` is one that `assistant.fleet.export.export` has made."""
    return (folder / MARK).is_file()
