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
    """A running cluster; ``address`` makes an empty database and returns where it is.

    In a temporary folder it may lose what was last written; in a ``folder`` of one's own it keeps everything, as
    PostgreSQL does unless told otherwise, and is found there again.
    """

    def __init__(self, programs: Path, folder: Path | None = None) -> None:
        self._programs = programs
        # Outside of pytest's own folders, which only their owner may enter: PostgreSQL refuses to run as root.
        self.folder = folder or Path(tempfile.mkdtemp(prefix="hitchcall-pg-"))
        self._settings = "" if folder else "-c fsync=off -c full_page_writes=off -c shared_buffers=32MB"
        self._as = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
        if self._as:
            shutil.chown(self.folder, "postgres")
        self.user = "postgres"
        self._made = 0
        if not Path(self._data).exists():
            self._run("initdb", "-D", self._data, "-U", self.user, "-A", "trust", "-N", "--locale=C", "-E", "UTF8")
        self.start()

    @property
    def _data(self) -> str:
        return str(self.folder / "data")

    def start(self) -> None:
        """Start it and wait until it answers."""
        settings = f"-c listen_addresses= -k {self.folder} {self._settings}"
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", self._data, "-w", "-t", str(PATIENCE_S), "-l", log, "-o", settings, "start")

    def crash(self) -> None:
        """End it at once, as a power cut does: no transaction under way is kept."""
        self._run("pg_ctl", "-D", self._data, "-w", "-t", str(PATIENCE_S), "-m", "immediate", "stop")

    def stop(self) -> None:
        """End it in good order."""
        self._run("pg_ctl", "-D", self._data, "-w", "-t", str(PATIENCE_S), "-m", "fast", "stop")

    def address(self, name: str = "") -> str:
        """Return the address of a database, made empty if it is not there."""
        self._made += not name
        name = name or f"fleet_{self._made}"
        where = ("-h", str(self.folder), "-U", self.user)
        exists = subprocess.run(
            [*self._as, str(self._programs / "psql"), *where, "-lqtA"],
            capture_output=True, text=True, check=True, timeout=PATIENCE_S, cwd=self.folder,
        ).stdout  # fmt: skip
        if f"\n{name}|" not in f"\n{exists}":
            self._run("createdb", *where, name)
        return f"postgresql://{self.user}@/{name}?host={self.folder}"

    def remove(self) -> None:
        """Stop it and remove its folder."""
        subprocess.run(
            [*self._as, str(self._programs / "pg_ctl"), "-D", self._data, "-m", "immediate", "stop"],
            capture_output=True, check=False, timeout=PATIENCE_S,
        )  # fmt: skip
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *arguments: str) -> None:
        done = subprocess.run(
            [*self._as, str(self._programs / program), *arguments],
            stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=PATIENCE_S, check=False, cwd=self.folder,
        )  # fmt: skip
        assert done.returncode == 0, f"{program}: {done.stdout}"
