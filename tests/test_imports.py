"""The pure core stays pure: the proof explores the very code that runs in the cab."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1] / "assistant"
BANNED = {
    "vosk", "pocketsphinx", "ctranslate2", "pyttsx3", "sounddevice", "starlette", "uvicorn",
    "time", "random", "threading", "socket", "urllib", "subprocess",
}  # fmt: skip
PURE = ["procedure", "engine", "proof", "phrases", "practice"]
# Outside programs and worker processes are the proof's and the sheet's edge, chance and the disk the automatic
# driver's, not their core.
EDGES = {
    "proof/spin.py", "proof/commands.py", "proof/library.py", "procedure/sheet.py", "procedure/commands.py",
    "practice/automatic.py", "practice/mouth.py", "practice/whole.py", "practice/making.py",
}  # fmt: skip


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize(
    "path",
    [*(path for folder in PURE for path in sorted((ROOT / folder).glob("*.py"))), ROOT / "journal/records.py", ROOT / "wording.py"],
    ids=lambda path: str(path.relative_to(ROOT)),
)
def test_the_pure_core_imports_no_device_clock_or_chance(path: Path) -> None:
    """What decides must give the same decision again: in the proof, in a replay, in court."""
    if str(path.relative_to(ROOT)) not in EDGES:
        assert _imports(path) & BANNED == set()


def test_the_check_can_fail() -> None:
    """The ban is real: a module of the outer shell breaks it."""
    assert _imports(ROOT / "session.py") & BANNED
