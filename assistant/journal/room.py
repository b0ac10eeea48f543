"""The file of a log that is being written, and the room kept ready behind its records.

Room is noughts (bytes 0) that were written and synced before any record needs them. A record that goes
into room changes neither the file's length nor its blocks, so that its sync is one flush of its own bytes
and the file system has nothing to write down. On ext4 with a journal, as cards and disks of tablets have
it, that takes half the time of a record that makes the file grow; without one, four fifths. A log that was
closed has no room: it is plain JSON Lines. The log of a run that goes on, or that was killed, ends in room.

No record holds a nought, so where noughts stand tells what they are:

- noughts up to the end of the file are room, and say nothing;
- what stands between the last whole line and the room is a record that was being written when the power
  went. Disks write whole sectors, in any order: noughts within it are sectors that had not come to the
  disk yet, and begin and end where sectors do;
- noughts anywhere else, and anything else amid the room, were put there by nobody's writing.
"""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path
from typing import BinaryIO

from assistant.journal.chain import MAX_LINE
from assistant.journal.disk import Disk, write_all

ROOM = 256 * 1024
"""Bytes of room made at a time: most runs need no more (240 records of some 700 bytes)."""

SECTOR = 512
"""The least a disk writes at once; larger ones are multiples of it."""

_CHUNK = 1 << 18
_LINES = 1 << 12  # more than most lines have: a first look at a file's end
_RUN = re.compile(rb"\0+")


class LineFile:
    """An open file that lines are added to, with room behind them if wanted. Owned by one writer.

    ``size`` is the length of the lines in bytes: what stands behind it counts for nothing. ``fd`` is the
    file's, -1 once it is closed.
    """

    def __init__(self, disk: Disk, path: Path, fd: int, size: int) -> None:
        self.path = path
        self.size = size
        self._disk = disk
        self.fd = fd
        self._end = max(size, os.fstat(fd).st_size)  # of the room
        self._roomy = False

    def keep_room(self) -> None:
        """Make room now, and again whenever it is used up."""
        self._roomy = True
        if self._end - self.size < ROOM // 2:
            self._make_room()

    def add(self, line: bytes) -> None:
        """Return when a line is on the disk.

        After an OSError that is not known: the line was taken back as far as the disk let it, and nothing
        more may be added, because the next sync may claim success wrongly.
        """
        end = self.size + len(line)
        if end > self._end and self._roomy:
            self._make_room()
        try:
            write_all(self._disk, self.fd, line, self.size)
            self._disk.sync(self.fd)
            # The system goes on writing to a deleted file; nobody could ever read it. Asked by name: whoever asks
            # the file itself has seen its times, and then every write must write them down anew (Linux 6.13).
            if not os.access(self.path, os.F_OK):
                raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT))
        except OSError:
            self._cut_back()
            raise
        self.size = end

    def close(self) -> None:
        """Cut off the room and let go; what cannot be cut off is known for room by whoever reads it."""
        if self.fd < 0:
            return
        if self._end > self.size:
            self._cut_back()
        os.close(self.fd)
        self.fd = -1

    def _make_room(self) -> None:
        """Write noughts behind everything; where that fails, lines make the file grow from now on.

        A disk too full for room may well hold what the run still has to say: each line will tell.
        """
        end = max(self.size, self._end)
        try:
            write_all(self._disk, self.fd, bytes(ROOM), end)
            self._disk.sync(self.fd)
        except OSError:
            self._roomy = False
            self._cut_back()  # the disk's last blocks are for lines
        else:
            self._end = end + ROOM

    def _cut_back(self) -> None:
        """Cut off all but the lines; what stays of a line that was not acknowledged is set aside on resume."""
        self._end = self.size
        try:
            self._disk.cut(self.fd, self.size)
            self._disk.sync(self.fd)
        except OSError:
            return


def room_behind(path: Path) -> int:
    """Return how many bytes of room stand at the end of a file; OSError when it cannot be read."""
    with path.open("rb") as file:
        return file.seek(0, os.SEEK_END) - written(file)


def written(file: BinaryIO) -> int:
    """Return how many bytes of a file stand before the room at its end."""
    end = file.seek(0, os.SEEK_END)
    size = _LINES
    while end:
        start, size = max(0, end - size), _CHUNK
        file.seek(start)
        kept = file.read(end - start).rstrip(b"\0")
        if kept:
            return start + len(kept)
        end = start
    return 0


def torn_line(file: BinaryIO, end: int) -> bytes:
    """Return the line that ends at ``end``, newline and all, when sectors of it are missing; else b""."""
    for most in (_LINES, MAX_LINE):
        start = max(0, end - most)
        file.seek(start)
        before, _, line = file.read(end - start).removesuffix(b"\n").rpartition(b"\n")
        if before:
            break
    offset = start + len(before) + 1 if before else 0
    line += b"\n"
    return line if b"\0" in line and offset + len(line) == end and was_being_written(line, offset) else b""


def was_being_written(line: bytes, offset: int) -> bool:
    """Return whether a last line, at ``offset`` and up to the room, can be what a power cut leaves of a record.

    It can when it holds no nought, or when what it holds begins and ends where sectors do.
    """
    if b"\0" not in line:
        return True
    if not line.endswith(b"\n") and (offset + len(line)) % SECTOR:
        return False
    return all(
        (run.start() == 0 or (offset + run.start()) % SECTOR == 0) and (offset + run.end()) % SECTOR == 0
        for run in _RUN.finditer(line)
    )
