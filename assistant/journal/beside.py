"""Checking what lies beside the chain: spoken words, recordings, torn ends."""

from __future__ import annotations

import os
from hashlib import sha256
from pathlib import Path

from assistant.errors import LogError
from assistant.journal.audio import FOLDER, audio_hash, read_audio
from assistant.journal.chain import MAX_LINE
from assistant.journal.diagnosis import Finding, Wrong
from assistant.journal.reader import Entry
from assistant.journal.records import Forgotten, Opened, Resumed
from assistant.journal.words import FILE, parse_words, raw_words

_NO_WORDS = (0, b"")


class Beside:
    """Follows the records of a run and holds what lies beside the log against them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.found: list[Finding] = []
        self.notes: list[str] = []
        self.forgotten: set[str] = set()
        self._words = raw_words(folder)
        self._next: tuple[int, bytes] | None = None
        self._consent_audio = False
        self._missing_words: list[int] = []
        self._missing_audio: list[int] = []
        self._torn: set[str] = set()

    def see(self, entry: Entry) -> None:
        """Take one record into account, in the order of the log."""
        record = entry.record
        if isinstance(record, Opened):
            self._consent_audio = record.consent_audio
        elif isinstance(record, Resumed):
            self._torn.update(record.torn)
        elif isinstance(record, Forgotten):
            self.forgotten.update(record.what)

    def hear(self, seq: int, line: int, said: str, audio: str) -> None:
        """Take a hearing into account: what its record commits to, "" for nothing."""
        if said:
            # A line is what the commitment was made over, so a sound one is never taken apart.
            line_of_words = self._next or next(self._words, _NO_WORDS)
            raw = line_of_words[1]
            if sha256(raw[:-1]).hexdigest() == said and raw.endswith(b"\n"):
                self._next = None
            else:
                self._next = line_of_words if raw else None
                self._hold_words(seq, line, said)
        if audio and self._consent_audio:
            self._hold_audio(seq, line, audio)

    def finish(self) -> None:
        """Draw the conclusions once all records were seen."""
        while self._next or self._advance():
            self._pass_over()
        for wrong, what, file, missing in (
            (Wrong.WORDS, "spoken words", FILE, self._missing_words),
            (Wrong.AUDIO, "recordings", FOLDER, self._missing_audio),
        ):
            if wrong.value not in self.forgotten:
                self._report_missing(wrong, what, missing)
                continue
            self.notes.append(f"The {what} of this run were forgotten on purpose.")
            if (self.folder / file).exists():
                text = f"The log says that the {what} were forgotten, but some are still there."
                self.found.append(Finding(wrong, 0, text + " Run `hitchcall log forget` again."))
        for name in _torn_ends(self.folder):
            told = "reported in the log" if name in self._torn else "not yet reported in the log"
            self.notes.append(f"{name} holds the end of a file that was cut off ({told}).")
            self._torn.discard(name)
        gone = {name for name in self._torn if "words" not in self.forgotten or not name.startswith("words")}
        self.notes.extend(f"{name} is named in the log and gone." for name in sorted(gone))

    def _hold_words(self, seq: int, line: int, commitment: str) -> None:
        """Find the words of a record among the lines that follow; they stand in the order of the records."""
        while raw := self._next[1] if self._next else self._advance():
            said = parse_words(raw)
            if said is not None and said.seq > seq:
                break
            if said is not None and said.seq == seq:
                if said.commitment() != commitment:
                    what = f"{FILE}: the spoken words of record {seq} were altered."
                    self.found.append(Finding(Wrong.WORDS, line, what))
                self._next = None
                return
            self._pass_over()
        self._missing_words.append(seq)

    def _advance(self) -> bytes:
        """Move to the next line of words and return it, empty at the end."""
        self._next = next(self._words, None)
        return self._next[1] if self._next else b""

    def _pass_over(self) -> None:
        """Tell of a line that no record asks for: the power failed between the two, or it was put there."""
        number, raw = self._next or (0, b"")
        said = parse_words(raw)
        if not raw.endswith(b"\n") and len(raw) < MAX_LINE:
            self.notes.append(f"{FILE}, line {number}, the last one, breaks off: no record vouches for it.")
        elif said is None:
            self.found.append(Finding(Wrong.WORDS, 0, f"{FILE}, line {number}: no words that belong to a log."))
        else:
            self.notes.append(f"{FILE} holds words for record {said.seq} that no record vouches for.")
        self._next = None

    def _hold_audio(self, seq: int, line: int, digest: str) -> None:
        path = self.folder / FOLDER / f"{digest}.flac"
        if not path.exists():
            self._missing_audio.append(seq)
            return
        try:
            same = audio_hash(read_audio(path)) == digest
        except LogError:
            same = False
        if not same:
            what = f"{FOLDER}/{path.name}: the recording of record {seq} was altered."
            self.found.append(Finding(Wrong.AUDIO, line, what))

    def _report_missing(self, wrong: Wrong, what: str, records: list[int]) -> None:
        if records:
            which = ", ".join(str(seq) for seq in records[:10]) + (" …" if len(records) > 10 else "")
            text = f"The {what} of {len(records)} records are gone (record {which}); no record says why."
            self.found.append(Finding(wrong, 0, text))


def _torn_ends(folder: Path) -> list[str]:
    """Return the names of the ends that were set aside; none where the folder may not be listed."""
    try:
        with os.scandir(folder) as found:  # a third of the time of a glob, and a fleet has many folders
            return sorted(one.name for one in found if ".torn-" in one.name)
    except OSError:
        return []
