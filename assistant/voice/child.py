"""One way to hold a child process that answers line by line, and never to wait for it for ever.

Speech libraries and sound drivers hang inside C code, where no exception and no time-out of ours
reaches them. In a child process a hang costs one kill and one restart.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import assistant

Answer = Mapping[str, Any]
_ENDED: Answer = {"ended": True}
_LINE_LIMIT = 65_536


class ChildError(Exception):
    """The child did not start, ended, or did not answer in time; the text is one plain sentence."""


def module_command(module: str, *arguments: str) -> list[str]:
    """Return the command that runs a module of this package in a fresh interpreter."""
    # -P: a file called json.py in the working folder must not be taken for the library's.
    return [sys.executable, "-P", "-m", module, *arguments]


class Child:
    """A child process spoken to in JSON lines. Owned by one caller at a time; ``kill`` is free.

    ``what`` names it in sentences ("the speech synthesiser").
    """

    def __init__(self, command: Sequence[str], what: str) -> None:
        self.what = what
        package_folder = str(Path(assistant.__file__).resolve().parent.parent)
        inherited = os.environ.get("PYTHONPATH")
        path = os.pathsep.join([package_folder, *([inherited] if inherited else [])])
        try:
            self._process = subprocess.Popen(
                list(command),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": path},
                # A Ctrl-C in the terminal belongs to the session, which ends its children itself.
                start_new_session=True,
            )
        except OSError as why:
            raise ChildError(f"{what.capitalize()} could not be started: {why.strerror}.") from None
        self._answers: queue.SimpleQueue[Answer] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, name=f"read {what}", daemon=True)
        self._reader.start()
        # A hung child stops reading, and a write into a full pipe would hang the caller with it.
        self._requests: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        threading.Thread(target=self._write, name=f"write {what}", daemon=True).start()

    @property
    def pid(self) -> int:
        """The process id."""
        return self._process.pid

    @property
    def alive(self) -> bool:
        """Whether the process still runs."""
        return self._process.poll() is None

    def _read(self) -> None:
        assert self._process.stdout is not None  # noqa: S101 - a pipe was asked for
        with contextlib.suppress(OSError, ValueError):
            while line := self._process.stdout.readline(_LINE_LIMIT):
                answer = json.loads(line)
                if isinstance(answer, dict):
                    self._answers.put(answer)
        self._answers.put(_ENDED)

    def _write(self) -> None:
        assert self._process.stdin is not None  # noqa: S101 - a pipe was asked for
        with contextlib.suppress(OSError, ValueError):
            while (data := self._requests.get()) is not None:
                self._process.stdin.write(data)
                self._process.stdin.flush()
        with contextlib.suppress(OSError, ValueError):
            self._process.stdin.close()

    def send(self, request: Mapping[str, object], data: bytes = b"") -> None:
        """Send one request line, then raw ``data``; never blocks; raises ChildError when it is gone."""
        if not self.alive:
            raise ChildError(f"{self.what.capitalize()} has ended.")
        self._requests.put(json.dumps(request).encode() + b"\n" + data)

    def poll(self, timeout: float) -> Answer | None:
        """Wait up to ``timeout`` s for the next answer; raises ChildError when the child has ended."""
        try:
            answer = self._answers.get(timeout=max(timeout, 0.0))
        except queue.Empty:
            return None
        if answer is _ENDED:
            self._answers.put(_ENDED)
            raise ChildError(f"{self.what.capitalize()} ended by itself.")
        return answer

    def answer(self, timeout: float) -> Answer:
        """Return the next answer; raises ChildError after ``timeout`` s or when the child ended."""
        answer = self.poll(timeout)
        if answer is None:
            raise ChildError(f"{self.what.capitalize()} did not answer within {timeout:.1f} s.")
        return answer

    def kill(self) -> None:
        """End the process at once, whatever it does, and collect it. Safe to call twice."""
        with contextlib.suppress(OSError):
            self._process.kill()
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(2)
        self._requests.put(None)
        self._reader.join(1)
        if self._process.stdout is not None and not self._reader.is_alive():
            self._process.stdout.close()
