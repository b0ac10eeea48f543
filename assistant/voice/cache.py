"""Spoken texts kept on disk, so that a prompt is synthesised once in the life of a tablet.

A file's name is the hash of all that shapes its sound. Files arrive by atomic rename, are checked
each time they are read, and the oldest go when the folder grows past its bound.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from pathlib import Path

from assistant.voice.clip import Clip, doubt, read_wav
from assistant.voice.loudness import Manner

_BOUND_BYTES = 96 * 1024 * 1024  # about 40 minutes of prompts: every procedure in two languages


class Cache:
    """A bounded folder of WAV files. Not usable folders are replaced by one for this run only.

    ``notice`` is one plain sentence when that happened, else "".
    """

    def __init__(self, folder: Path, bound_bytes: int = _BOUND_BYTES) -> None:
        self._bound = bound_bytes
        self._own: tempfile.TemporaryDirectory[str] | None = None
        self.notice = ""
        self.folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder):
                pass
        except OSError as why:
            self._own = tempfile.TemporaryDirectory(prefix="hitchcall-voice-")
            self.folder = Path(self._own.name)
            self.notice = (
                f"Spoken prompts cannot be kept in {folder} ({why.strerror}); they are made anew "
                "for this run. Name a writable folder to start quicker."
            )
        self._used = sum(size for _, size, _ in self._files())

    def path(self, text: str, manner: Manner, engine: str) -> Path:
        """Return where the sound of ``text`` belongs."""
        shape = [text, manner.voice, manner.rate, manner.pitch, engine]
        name = hashlib.sha256(json.dumps(shape).encode()).hexdigest()
        return self.folder / f"{name}.wav"

    def get(self, path: Path, text: str, rate: int) -> Clip | None:
        """Return the checked sound at ``path``; a missing or doubtful file is None and removed."""
        if not path.exists():
            return None
        clip = read_wav(path)
        if not isinstance(clip, Clip) or doubt(clip, text, rate):
            # A power cut can leave an empty file behind even after the rename.
            with contextlib.suppress(OSError):
                path.unlink()
            return None
        with contextlib.suppress(OSError):
            os.utime(path)
        return clip

    def draft(self) -> Path:
        """Return a fresh name in the same folder, to be renamed by ``keep`` or removed."""
        handle, name = tempfile.mkstemp(prefix=".draft-", suffix=".wav", dir=self.folder)
        os.close(handle)
        return Path(name)

    def keep(self, draft: Path, path: Path) -> None:
        """Put a checked draft in its place; raises OSError."""
        size = draft.stat().st_size
        draft.replace(path)
        self._used += size
        if self._used > self._bound:
            self._shrink(path)

    def remembered_engine(self) -> str:
        """Return the engine that last filled this cache, "" when none did."""
        try:
            return (self.folder / "engine.txt").read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return ""

    def remember_engine(self, engine: str) -> None:
        """Note which engine fills this cache, so that its prompts can be used when it is broken."""
        with contextlib.suppress(OSError):
            draft = self.draft()
            draft.write_text(engine, encoding="utf-8")
            draft.replace(self.folder / "engine.txt")

    def close(self) -> None:
        """Remove the folder when it was for this run only."""
        if self._own is not None:
            self._own.cleanup()

    def _files(self) -> list[tuple[float, int, Path]]:
        found = []
        for path in self.folder.glob("*.wav"):
            with contextlib.suppress(OSError):
                facts = path.stat()
                found.append((facts.st_mtime, facts.st_size, path))
        return found

    def _shrink(self, newest: Path) -> None:
        """Remove the longest unused files, down to three quarters, but never the newest."""
        files = sorted(self._files())
        self._used = sum(size for _, size, _ in files)
        for _, size, path in files:
            if self._used <= self._bound * 3 // 4:
                return
            if path != newest:
                with contextlib.suppress(OSError):
                    path.unlink()
                    self._used -= size
