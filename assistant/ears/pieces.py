"""Text to word pieces and back, by the table that comes with a model: byte-pair merging.

The file holds one piece after the other: its length in one byte (or, from 128 on, in two), then its
bytes. The place in the file is the piece's number; of two neighbours the pair whose joined piece has
the lowest number is joined first (byte-pair encoding, Sennrich et al. 2016). A letter that is no piece
is written as its bytes.
"""

from __future__ import annotations

FIRST_TEXT = 3  # numbers under this stand for no text
FIRST_JOINED = 259  # those under this are marks and, from FIRST_TEXT on, the 256 single bytes
TEXTS_KEPT = 4096
SPACE = "\u2581"


class Pieces:
    """The pieces of one model."""

    def __init__(self, table: bytes) -> None:
        self._all: list[bytes] = []
        at = 0
        while at < len(table):
            length = table[at]
            at += 1
            if length >= 128:
                length += (table[at] - 1) * 128
                at += 1
            self._all.append(table[at : at + length])
            at += length
        self._number: dict[bytes, int] = {}
        for number, piece in enumerate(self._all):
            if number >= FIRST_JOINED:
                self._number.setdefault(piece, number)
        self._known: dict[str, tuple[int, ...]] = {}

    def of(self, text: str) -> tuple[int, ...]:
        """Return the numbers of a text's pieces."""
        found = self._known.get(text)
        if found is None:
            if len(self._known) > TEXTS_KEPT:
                self._known.clear()  # another thread may be asking too: what was found is returned from here
            found = self._known[text] = self._split(text)
        return found

    def mark(self, letter: str) -> int:
        """Return the piece of one letter or mark that follows a word without a space."""
        return self._number[letter.encode()]

    def text(self, numbers: list[int]) -> str:
        """Return the text of pieces, marks left out."""
        joined = b"".join(self._all[number] for number in numbers if number >= FIRST_TEXT)
        return joined.decode("utf-8", "replace").replace(SPACE, " ").strip()

    def _split(self, text: str) -> tuple[int, ...]:
        parts = [letter.encode() for letter in SPACE + text.replace(" ", SPACE)]
        while True:
            pairs = [
                (number, at)
                for at in range(len(parts) - 1)
                if (number := self._number.get(parts[at] + parts[at + 1])) is not None
            ]
            if not pairs:
                return tuple(number for part in parts for number in self._numbers(part))
            _, at = min(pairs)
            parts[at : at + 2] = [parts[at] + parts[at + 1]]

    def _numbers(self, part: bytes) -> tuple[int, ...]:
        found = self._number.get(part)
        return (found,) if found is not None else tuple(FIRST_TEXT + byte for byte in part)
