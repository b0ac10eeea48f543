"""What was said, kept beside the log so that it can be forgotten.

The clear words of each hearing stand in ``words.jsonl``, one JSON line each, with a random salt; the
chained record holds only the SHA-256 of both. Without the file the chain is whole and nobody can guess
the words from the hash, because the salt is gone with them; with it, every word is as tamper-evident
as the rest of the log.
"""

from __future__ import annotations

import hashlib
import json
import numbers
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from assistant.journal.chain import MAX_LINE, canonical
from assistant.journal.records import Heard
from assistant.phrases.live import Hearing

FILE = "words.jsonl"
_MAX_WORDS = 4000


@dataclass(frozen=True, slots=True)
class Said:
    """The words of the hearing in record ``seq``: the deciding ones, the reading's, and each ear's."""

    seq: int
    salt: str
    words: str
    reading: str = ""
    ears: Mapping[str, str] = field(default_factory=dict)

    def line(self) -> bytes:
        """Return the line for the words file, newline included."""
        return canonical(self._data()) + b"\n"

    def commitment(self) -> str:
        """Return what the record ``heard`` holds in their stead, 64 hex digits."""
        return hashlib.sha256(canonical(self._data())).hexdigest()

    def _data(self) -> dict[str, object]:
        return {
            "ears": dict(self.ears),
            "reading": self.reading,
            "salt": self.salt,
            "seq": self.seq,
            "words": self.words,
        }


def split(hearing: Hearing, seq: int, salt: str, *, keep_words: bool) -> tuple[Heard, Said | None]:
    """Part a hearing into what is chained and what was said (None when words may not be kept)."""
    ears = {name: _exact({k: v for k, v in told.items() if k != "words"}) for name, told in hearing.ears.items()}
    said = None
    if keep_words:
        said = Said(
            seq=seq,
            salt=salt,
            words=_clean(hearing.words),
            reading=_clean(hearing.reading.words) if hearing.reading else "",
            ears={name: _clean(str(told["words"])) for name, told in hearing.ears.items() if told.get("words")},
        )
    reading = hearing.reading
    heard = Heard(
        engine=hearing.engine,
        who=hearing.who.value,
        phrase=hearing.phrase,
        reading={"value": str(reading.value), "unit": reading.unit} if reading else None,
        unheard=hearing.unheard.value if hearing.unheard else None,
        said=said.commitment() if said else "",
        audio=hearing.audio_sha256,
        start_ms=round(hearing.start * 1000),
        end_ms=round(hearing.end * 1000),
        speech_db=_level(hearing.speech_db),
        noise_db=_level(hearing.noise_db),
        ears=ears,
    )
    return heard, said


def raw_words(folder: Path) -> Iterator[tuple[int, bytes]]:
    """Yield (line number, line with its newline) of a run's words file; nothing when there is none.

    Lines are bounded: a longer one comes in pieces, none of which is anybody's words.
    """
    try:
        file = (folder / FILE).open("rb")
    except FileNotFoundError:
        return
    with file:
        yield from enumerate(iter(partial(file.readline, MAX_LINE), b""), 1)


def read_words(folder: Path) -> Iterator[Said]:
    """Yield the words kept with a run; lines that are none are passed over."""
    for _, raw in raw_words(folder):
        said = parse_words(raw)
        if said is not None:
            yield said


def parse_words(raw: bytes) -> Said | None:
    """Return the words in a line, None when it is not one of ours."""
    if not raw.endswith(b"\n"):
        return None
    try:
        data = json.loads(raw)
        said = Said(**data)
        return said if said.line() == raw else None
    except (ValueError, TypeError, RecursionError):
        return None


def _level(db: float | None) -> str | None:
    return None if db is None else f"{db:.1f}"


def _clean(text: str) -> str:
    """Return words fit for a file: no half characters, and no line that is longer than any talk."""
    whole = text.encode("utf-8", "replace").decode()
    return whole if len(whole) <= _MAX_WORDS else whole[:_MAX_WORDS] + " …"


def _exact(value: object) -> object:
    """Return a recogniser's verdict with fractions as text, since a record holds no floats."""
    if isinstance(value, Mapping):
        return {str(key): _exact(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_exact(item) for item in value]
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    return f"{float(value):.4g}" if isinstance(value, numbers.Real) else _clean(str(value))
