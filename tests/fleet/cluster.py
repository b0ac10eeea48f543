"""A PostgreSQL of the tests' own: a cluster in a folder of its own, on a socket there, started, crashed and started again."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

_BIN = Path("/usr/lib/postgresql")
PATIENCE_S = 60


def programs() -> Path | None:
    """Return the folder of the newest PostgreSQL's own programs; None when there is none."""
    found = sorted(_BIN.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


class Cluster:
    """A running cluster; ``address(name)`` makes an empty database and returns where it is."""

    def __init__(self, programs: Path) -> None:
        self._programs = programs
        # Outside of pytest's own folders, which only their owner may enter: PostgreSQL refuses to run as root.
        self.folder = Path(tempfile.mkdtemp(prefix="hitchcall-pg-"))
        self._as = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._as:
            shutil.chown(self.folder, "postgres")
        self.user = "postgres"
        self._made = 0
        self._run("initdb", "-D", self._data, "-U", self.user, "-A", "trust", "-N", "--locale=C", "-E", "UTF8")
        self.start()

    @property
    def _data(self) -> str:
        return str(self.folder / "data")

    def start(self) -> None:
        """Start it and wait until it answers."""
        settings = f"-c listen_addresses= -k {self.folder} -c fsync=off -c full_page_writes=off -c shared_buffers=32MB"
        self._run("pg_ctl", "-D", self._data, "-w", "-t", str(PATIENCE_S), "-l", str(self.folder / "log"), "-o", settings, "start")

    def crash(self) -> None:
        """End it at once, as a power cut does: no transaction under way is kept."""
        self._run("pg_ctl", "-D", self._data, "-w", "-t", str(PATIENCE_S), "-m", "immediate", "stop")

    def address(self) -> str:
        """Make an empty database and return its address."""
        self._made += 1
        name = f"fleet_{self._made}"
        self._run("createdb", "-h", str(self.folder), "-U", self.user, name)
        return f"postgresql://{self.user}@/{name}?host={self.folder}"

    def remove(self) -> None:
        """Stop it and remove its folder."""
        subprocess.run([*self._as, str(self._programs / "pg_ctl"), "-D", self._data, "-m", "immediate", "stop"], capture_output=True, check=False, timeout=PATIENCE_S)
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [*self._as, str(self._programs / program), *arguments],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=PATIENCE_S, check=False, cwd=self.folder,
        )  # fmt: skip
        assert done.returncode == 0, f"{program}: {done.stdout}"
