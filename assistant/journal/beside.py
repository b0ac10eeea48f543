"""Checking what lies beside the chain: spoken words, recordings, torn ends."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import LogError
from assistant.journal.audio import FOLDER, audio_hash, read_audio
from assistant.journal.diagnosis import Finding, Wrong
from assistant.journal.reader import Entry
from assistant.journal.records import Forgotten, Heard, Opened, Resumed
from assistant.journal.words import FILE, Said, read_words


class Beside:
    """Follows the records of a run and holds what lies beside the log against them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.found: list[Finding] = []
        self.notes: list[str] = []
        self.forgotten: set[str] = set()
        self._words = read_words(folder)
        self._next: Said | None = None
        self._consent_audio = False
        self._missing_words: list[int] = []
        self._missing_audio: list[int] = []
        self._torn: set[str] = set()

    def see(self, entry: Entry) -> None:
        """Take one record into account, in the order of the log."""
        record = entry.record
        if isinstance(record, Opened):
            self._consent_audio = record.consent_audio
        elif isinstance(record, Heard):
            if record.said:
                self._hold_words(entry, record.said)
            if record.audio and self._consent_audio:
                self._hold_audio(entry, record.audio)
        elif isinstance(record, Resumed):
            self._torn.update(record.torn)
        elif isinstance(record, Forgotten):
            self.forgotten.update(record.what)

    def finish(self) -> None:
        """Draw the conclusions once all records were seen."""
        while self._advance():
            self._stray()
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
        for path in sorted(self.folder.glob("*.torn-*")):
            told = "reported in the log" if path.name in self._torn else "not yet reported in the log"
            self.notes.append(f"{path.name} holds the end of a file that was cut off ({told}).")
            self._torn.discard(path.name)
        gone = {name for name in self._torn if "words" not in self.forgotten or not name.startswith("words")}
        self.notes.extend(f"{name} is named in the log and gone." for name in sorted(gone))

    def _hold_words(self, entry: Entry, commitment: str) -> None:
        while self._next is None or self._next.seq < entry.seq:
            if self._next is not None:
                self._stray()
            if not self._advance():
                self._missing_words.append(entry.seq)
                return
        if self._next.seq > entry.seq:
            self._missing_words.append(entry.seq)
            return
        if self._next.commitment() != commitment:
            what = f"{FILE}: the spoken words of record {entry.seq} were altered."
            self.found.append(Finding(Wrong.WORDS, entry.line, what))
        self._next = None

    def _advance(self) -> bool:
        """Move to the next readable line of words."""
        for number, said in self._words:
            if said is not None:
                self._next = said
                return True
            self.found.append(
                Finding(Wrong.WORDS, 0, f"{FILE}, line {number}: no words that belong to a log.")
            )
        self._next = None
        return False

    def _stray(self) -> None:
        """Note words without their record: the power failed between the two, or someone put them there."""
        if self._next is not None:
            self.notes.append(f"{FILE} holds words for record {self._next.seq} that no record vouches for.")

    def _hold_audio(self, entry: Entry, digest: str) -> None:
        path = self.folder / FOLDER / f"{digest}.flac"
        if not path.exists():
            self._missing_audio.append(entry.seq)
            return
        try:
            same = audio_hash(read_audio(path)) == digest
        except LogError:
            same = False
        if not same:
            what = f"{FOLDER}/{path.name}: the recording of record {entry.seq} was altered."
            self.found.append(Finding(Wrong.AUDIO, entry.line, what))

    def _report_missing(self, wrong: Wrong, what: str, records: list[int]) -> None:
        if records:
            which = ", ".join(str(seq) for seq in records[:10]) + (" …" if len(records) > 10 else "")
            text = f"The {what} of {len(records)} records are gone (record {which}); no record says why."
            self.found.append(Finding(wrong, 0, text))
