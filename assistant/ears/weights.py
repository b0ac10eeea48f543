"""Where the weights of the ears come from: packages that carry them as plain data, each file checked.

Nothing of such a package is imported: only its folder is looked up. A file that is not, byte for
byte, the one that was measured is refused.
"""

from __future__ import annotations

import hashlib
import importlib.util
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from assistant.errors import DeviceError


@dataclass(frozen=True, slots=True)
class Weights:
    """Weights inside a package: ``folder`` under the module's own, file name → SHA-256."""

    package: str
    version: str
    module: str
    folder: str
    hashes: Mapping[str, str]

    def find(self) -> Path:
        """Return the folder that holds the files; DeviceError when the package is not installed."""
        spec = importlib.util.find_spec(self.module)
        if spec is None or spec.origin is None:
            raise DeviceError(f"The weights of an ear are not installed; install the package {self.package}.")
        return Path(spec.origin).parent / self.folder

    def check(self, folder: Path) -> None:
        """Compare the files with their published hashes; DeviceError names the first that differs."""
        for name, expected in self.hashes.items():
            path = folder / name
            try:
                with path.open("rb") as file:
                    found = hashlib.file_digest(file, "sha256").hexdigest()
            except OSError as error:
                raise DeviceError(f"{path}: cannot be read; install {self.package} again.") from error
            if found != expected:
                raise DeviceError(
                    f"{path}: is not the file that was measured (SHA-256 {found[:12]}…); "
                    f"install {self.package} {self.version} again."
                )
