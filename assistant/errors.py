"""The errors that reach people.

Each is one plain sentence: what is wrong, where, and what to do. They are sorted by whose hands
can mend it, because that decides the exit status and who is told. Anything else that escapes is
our own bug and is shown as such, never as a traceback.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file: where it stands and what to do about it.

    ``file`` is the path as the user named it; ``step`` and ``field`` may be empty where the fault
    belongs to the whole file.
    """

    file: str
    what: str
    step: str = ""
    field: str = ""

    def __str__(self) -> str:
        where = ", ".join(
            part
            for part in (
                self.file,
                f"step {self.step}" if self.step else "",
                f"field {self.field}" if self.field else "",
            )
            if part
        )
        return f"{where}: {self.what}"


class HitchcallError(Exception):
    """Base of every error shown to a person; ``exit_status`` is what the command ends with."""

    exit_status = 1


class InputError(HitchcallError):
    """Something the user named or said on the command line cannot be used (exit status 2)."""

    exit_status = 2


class NotMeantError(InputError):
    """A procedure is not meant for this rig, site or crew (exit status 2)."""


class FileFaults(InputError):
    """One or more files are faulty; carries every fault found, not just the first."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class DeviceError(HitchcallError):
    """A microphone, loudspeaker, voice, model or disk does not do its work (exit status 3)."""

    exit_status = 3


class LogError(HitchcallError):
    """The log cannot be written or does not verify (exit status 4): nothing may go on."""

    exit_status = 4
