"""The real command in a child process, with a state and cache folder of its own; and a real browser."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import CHROMIUM
from command_line import ROOT, Ended, Hitchcall


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A tablet's own folder."""
    return tmp_path / "tablet"


@pytest.fixture(scope="session")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Prompts and proofs, made once for all tests of a worker."""
    return tmp_path_factory.mktemp("cache")


@pytest.fixture
def environment(home: Path, cache: Path) -> dict[str, str]:
    """The environment of that tablet."""
    return {
        **os.environ,
        "XDG_STATE_HOME": str(home / "state"),
        "XDG_CACHE_HOME": str(cache),
        "PYTHONPATH": str(ROOT),
    }


@pytest.fixture
def hitchcall(environment: dict[str, str]) -> Hitchcall:
    """Run the command and wait for it."""

    def run(*arguments: str, typed: str = "", timeout: float = 280) -> Ended:
        done = subprocess.run(
            [sys.executable, "-m", "assistant.cli", *arguments],
            input=typed, capture_output=True, text=True, timeout=timeout, env=environment, check=False,
        )  # fmt: skip
        return Ended(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """One browser for all tests of a module."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed; run ./check")
    with playwright.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()
