"""The seeded-fault script goes through every mark there is; the whole of it takes too long for a test."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

SCRIPT = Path(__file__).with_name("seeded_faults.py")

KINDS = (
    r"yard.toml: rule \S+",
    r"yard.toml: \S+ .+ of rule \S+",
    r"yard.toml: (decays|secure) of fact \S+",
    r"yard.toml: doubt in \S+ once \S+ has begun",
    r"yard.toml: critical of \S+ at look \S+",
    r"\S+/procedure.toml: need \S+ of the claim",
    r"\S+/procedure.toml: need \S+ of step \S+",
    r"\S+/procedure.toml: critical of \S+ at step \S+",
)


def test_every_kind_of_mark_is_found_in_the_shipped_files() -> None:
    """Promise: a new form in the files, such as a look that is a reading, must not end the script or hide marks."""
    told = subprocess.run([sys.executable, str(SCRIPT), "--list"], capture_output=True, text=True, timeout=120, check=False)
    assert told.returncode == 0, told.stderr
    marks = told.stdout.splitlines()
    assert len(marks) == len(set(marks)) > 300
    for kind in KINDS:
        assert any(re.fullmatch(kind, mark) for mark in marks), kind
