"""The few things done to the disk, in one place, so that a failing disk can be put in their stead."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from assistant.errors import LogError

_REASONS = {
    errno.ENOSPC: "the disk is full; free some space",
    errno.EDQUOT: "the disk quota is used up; free some space",
    errno.EROFS: "the disk is read-only; look at the card's write lock or use another folder",
    errno.EACCES: "this user may not write there; use another folder",
    errno.EPERM: "this user may not write there; use another folder",
    errno.EIO: "the disk reports an error; use another disk",
    errno.ENXIO: "the disk is gone; put the card back or use another folder",
    errno.ENODEV: "the disk is gone; put the card back or use another folder",
    errno.ENOENT: "the folder is gone; put the card back or use another folder",
    errno.ENOTDIR: "a file stands where a folder should be; use another folder",
    errno.EMFILE: "too many files are open; close other programs",
}


def trouble(what: str, path: Path, error: OSError) -> LogError:
    """Return the sentence for an operating system error while doing ``what`` ("write") to ``path``."""
    why = _REASONS.get(error.errno or 0, (error.strerror or str(error)).lower())
    return LogError(f"Cannot {what} {path}: {why}.")


_sync = getattr(os, "fdatasync", os.fsync)  # macOS has only the latter


class Disk:
    """The real disk. Every method may raise OSError; `assistant.journal` turns it into a sentence."""

    def make_folder(self, path: Path) -> None:
        """Make a folder, with its parents, that only this user can enter (0700)."""
        for folder in (*reversed(path.parents), path):
            if not folder.exists():
                folder.mkdir(mode=0o700, exist_ok=True)
                self.sync_folder(folder.parent)

    def create(self, path: Path) -> int:
        """Open a new file (0600) for reading and writing; FileExistsError when it is there already."""
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)

    def open(self, path: Path) -> int:
        """Open a file that is there for reading and writing."""
        return os.open(path, os.O_RDWR | os.O_CLOEXEC)

    def write(self, fd: int, data: bytes, at: int) -> int:
        """Write at a place, bytes from the file's start, and return how many bytes the system took."""
        return os.pwrite(fd, data, at)

    def sync(self, fd: int) -> None:
        """Return when everything written is on the disk, and the file's length with it.

        The times in the file's entry, which ``fsync`` would write too, are nobody's evidence.
        """
        _sync(fd)

    def cut(self, fd: int, size: int) -> None:
        """Cut a file to ``size`` bytes."""
        os.ftruncate(fd, size)

    def rename(self, old: Path, new: Path) -> None:
        """Give a file its final name."""
        old.replace(new)

    def sync_folder(self, path: Path) -> None:
        """Return when the names in a folder are on the disk."""
        fd = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)

    def save(self, path: Path, data: bytes) -> None:
        """Write a whole new file (0600) so that it is either there complete or not at all."""
        part = path.with_name(path.name + ".part")
        part.unlink(missing_ok=True)
        fd = self.create(part)
        try:
            write_all(self, fd, data, 0)
            self.sync(fd)
        finally:
            os.close(fd)
        self.rename(part, path)
        self.sync_folder(path.parent)


def write_all(disk: Disk, fd: int, data: bytes, at: int) -> None:
    """Write all of ``data`` at ``at``; a disk that takes a part only is asked again and then gives its reason."""
    done = disk.write(fd, data, at)
    while done < len(data):
        more = disk.write(fd, data[done:], at + done)
        if more == 0:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        done += more
