"""A built wheel works without the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

from command_line import ROOT


def test_a_wheel_carries_procedures_grammars_and_page(tmp_path: Path) -> None:
    """A tablet has no checkout: what is installed must carry everything a run needs, and run it."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT, check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    (wheel,) = tmp_path.glob("hitchcall-*.whl")
    installed = tmp_path / "installed"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(installed)
    shipped = {str(path.relative_to(ROOT)) for folder in ("procedures", "grammars") for path in (ROOT / folder).rglob("*.t*t*")}
    carried = {str(path.relative_to(installed / "assistant/data")) for path in (installed / "assistant/data").rglob("*.t*t*")}
    assert shipped <= carried
    page = {path.name for path in (ROOT / "assistant/screen/page").glob("*.*")}
    assert page
    assert page <= {path.name for path in (installed / "assistant/screen/page").glob("*.*")}
    environment = {
        **{name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
        "PYTHONPATH": str(installed),
        "XDG_STATE_HOME": str(tmp_path / "state"),
        "XDG_CACHE_HOME": str(tmp_path / "cache"),
    }
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    done = subprocess.run(
        [sys.executable, "-P", "-m", "assistant.cli", "run", "couple", "--ears", "typed", "--voice", "none"],
        input="tractor stands clear\nbacking under\n", capture_output=True, text=True, timeout=120,
        cwd=elsewhere, env=environment, check=False,
    )  # fmt: skip
    assert "Do not back under" in done.stdout, done.stderr
    assert done.returncode == 6
    where = subprocess.run(
        [sys.executable, "-P", "-c", "import assistant.shipped as s; print(s.shipped('procedures'))"],
        capture_output=True, text=True, cwd=elsewhere, env=environment, check=True,
    )  # fmt: skip
    assert where.stdout.strip().startswith(str(installed))
