"""The phrase book of one language: what can be said, and how, from ``grammars/<lang>.toml``.

```toml
lang = "en"
mate = "mate"                      # the call-sign a second person puts before an answer
assent = ["yes", "okay"]           # words that prove nothing; no critical answer holds one
vague = ["good", "done"]           # words that prove nothing on their own
antonyms = [["open", "closed"]]
decoy_files = ["decoys/en.txt"]    # one everyday word a line, beside this file

[phrases.say-again]
say = ["say again"]

[[opposites]]
positive = "jaw-closed"
opposite = "jaw-open"

[pronounce]                        # words the recogniser's dictionary lacks or says otherwise
chocks = ["CH AA K S"]

[decoys]
words = ["weather"]
```
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field, ValidationError

from assistant.errors import Fault, FileFaults, InputError
from assistant.phrases import strict
from assistant.phrases.live import Live
from assistant.phrases.number_types import Kind
from assistant.phrases.numbers import is_number_talk, languages
from assistant.phrases.words import gap, normalise

_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_PHONES = re.compile(r"[A-Z]+( [A-Z]+)*")


def _spoken(text: str) -> str:
    if text != normalise(text) or not text or any(char.isdigit() for char in text):
        raise ValueError(
            f'"{text}" must be lower case words with single spaces, no punctuation and no figures; '
            f'write "{normalise(text)}"'
        )
    return text


def _word(text: str) -> str:
    if " " in _spoken(text):
        raise ValueError(f'"{text}" must be one word')
    return text


def _name(text: str) -> str:
    if not _ID.fullmatch(text):
        raise ValueError(f'"{text}" is no phrase id; use lower case letters and single hyphens')
    return text


def _phones(text: str) -> str:
    if not _PHONES.fullmatch(text):
        raise ValueError(f'"{text}" is no pronunciation; write phones in capitals such as "CH AA K S"')
    return text


Spoken = Annotated[str, AfterValidator(_spoken)]
Word = Annotated[str, AfterValidator(_word)]
PhraseId = Annotated[str, AfterValidator(_name)]
Phones = Annotated[str, AfterValidator(_phones)]


class _Phrase(strict.StrictModel):
    say: list[Spoken] = Field(min_length=1)


class _Opposites(strict.StrictModel):
    positive: PhraseId
    opposite: PhraseId


class _Decoys(strict.StrictModel):
    words: list[Word]


class _Grammar(strict.StrictModel):
    lang: str
    mate: Word
    assent: list[Word] = Field(default_factory=list)
    vague: list[Word] = Field(default_factory=list)
    antonyms: list[Annotated[list[Word], Field(min_length=2, max_length=2)]] = Field(default_factory=list)
    decoy_files: list[str] = Field(default_factory=list)
    phrases: dict[PhraseId, _Phrase] = Field(min_length=1)
    opposites: list[_Opposites] = Field(default_factory=list)
    pronounce: dict[Word, Annotated[list[Phones], Field(min_length=1)]] = Field(default_factory=dict)
    decoys: _Decoys = _Decoys(words=[])


@dataclass(frozen=True)
class PhraseBook:
    """A checked grammar file.

    ``phrases`` maps id → wordings; ``pronounce`` word → pronunciations; ``opposites`` are pairs
    (positive id, opposite id). ``decoys`` are sorted, without repeats, and hold no word that is the
    whole of a phrase. ``sha256`` is the hash of the file, ``decoys_sha256`` of its decoy files.
    """

    path: Path
    lang: str
    mate: str
    phrases: Mapping[str, tuple[str, ...]]
    opposites: tuple[tuple[str, str], ...]
    antonyms: tuple[tuple[str, str], ...]
    assent: frozenset[str]
    vague: frozenset[str]
    pronounce: Mapping[str, tuple[str, ...]]
    decoys: tuple[str, ...]
    sha256: str
    decoys_sha256: str

    @cached_property
    def ways(self) -> frozenset[str]:
        """All ways of saying anything."""
        return frozenset(say for says in self.phrases.values() for say in says)

    def says(self, phrase: str) -> tuple[str, ...]:
        """Return the ways to say a phrase; FileFaults naming the id when the book lacks it."""
        self._require([phrase])
        return self.phrases[phrase]

    def live(
        self,
        ids: Iterable[str],
        *,
        critical: Iterable[str] = (),
        emergency: Iterable[str] = (),
        reading: str | None = None,
        mate: bool = False,
    ) -> Live:
        """Return the closed set of ``ids``; FileFaults naming every id the book lacks.

        ``critical`` and ``emergency`` are ids among ``ids``; ``reading`` is a ``Kind``; ``mate``
        says whether a second person answers in this run.
        """
        wanted, critical, emergency = list(dict.fromkeys(ids)), frozenset(critical), frozenset(emergency)
        self._require([*wanted, *sorted((critical | emergency) - set(wanted))])
        if stray := (critical | emergency) - set(wanted):
            raise ValueError(f"marked critical or emergency but not live: {sorted(stray)}")
        return Live(
            lang=self.lang,
            phrases={phrase: self.phrases[phrase] for phrase in wanted},
            critical=critical,
            emergency=emergency,
            reading=None if reading is None else Kind(reading).value,
            mate=self.mate if mate else "",
            book=self.ways,
        )

    def _require(self, ids: Iterable[str]) -> None:
        what = "there is no such phrase; add it with its wording"
        faults = [
            Fault(str(self.path), what, field=f"phrases.{phrase}")
            for phrase in ids
            if phrase not in self.phrases
        ]
        if faults:
            raise FileFaults(faults)


def load_book(folder: Path, lang: str) -> PhraseBook:
    """Load and check ``<folder>/<lang>.toml``; FileFaults with every fault of the file."""
    path = folder / f"{lang}.toml"
    if lang not in languages():
        raise InputError(f"Language {lang} is not known; there is: {', '.join(languages())}.")
    raw, data = strict.read_toml(path)
    faults = list(_cross_faults(raw, path, lang))
    grammar = None
    try:
        grammar = _Grammar.model_validate(raw)
    except ValidationError as error:
        faults = strict.faults_of(error, path) + faults
    words, digest, decoy_faults = _decoy_files(raw, path)
    faults += decoy_faults
    if faults or grammar is None:
        raise FileFaults(faults)
    return _book(grammar, path, data, words, digest)


def _book(grammar: _Grammar, path: Path, data: bytes, decoys: list[str], digest: str) -> PhraseBook:
    whole = {say for phrase in grammar.phrases.values() for say in phrase.say}
    return PhraseBook(
        path=path,
        lang=grammar.lang,
        mate=grammar.mate,
        phrases={name: tuple(phrase.say) for name, phrase in grammar.phrases.items()},
        opposites=tuple((pair.positive, pair.opposite) for pair in grammar.opposites),
        antonyms=tuple((pair[0], pair[1]) for pair in grammar.antonyms),
        assent=frozenset(grammar.assent),
        vague=frozenset(grammar.vague),
        pronounce={word: tuple(phones) for word, phones in grammar.pronounce.items()},
        decoys=tuple(sorted({*grammar.decoys.words, *decoys} - whole)),
        sha256=hashlib.sha256(data).hexdigest(),
        decoys_sha256=digest,
    )


def _wordings(raw: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    """Yield (id, wording) for whatever of the phrases is well formed, so that all faults show at once."""
    for name, phrase in strict.table(raw, "phrases").items():
        says = phrase.get("say") if isinstance(phrase, dict) else None
        yield from ((name, say) for say in (says if isinstance(says, list) else []) if isinstance(say, str))


def _cross_faults(raw: Mapping[str, object], path: Path, lang: str) -> Iterator[Fault]:
    """Faults between entries: the wrong language, one wording twice, a wording that is a number."""
    if isinstance(raw.get("lang"), str) and raw["lang"] != lang:
        yield Fault(str(path), f"the file name says {lang}, this says {raw['lang']}", field="lang")
    first: dict[str, str] = {}
    mate = raw.get("mate")
    for name, wording in _wordings(raw):
        say, field = normalise(wording), f"phrases.{name}.say"
        same = say.replace(" ", gap(lang))
        if same in first:
            what = f'"{say}" is already a wording of phrase {first[same]}; a hearing must mean one thing'
            yield Fault(str(path), what, field=field)
        first.setdefault(same, name)
        if say and is_number_talk(say, lang):
            yield Fault(str(path), f'"{say}" could be heard as a number; use other words', field=field)
        if isinstance(mate, str) and f"{same}{gap(lang)}".startswith(mate + gap(lang)):
            what = f'"{say}" begins with the call-sign "{mate}"; use other words'
            yield Fault(str(path), what, field=field)
    yield from _opposite_faults(raw, path, set(first.values()))


def _opposite_faults(raw: Mapping[str, object], path: Path, names: set[str]) -> Iterator[Fault]:
    pairs = raw.get("opposites")
    for index, pair in enumerate(pairs if isinstance(pairs, list) else []):
        entry = pair if isinstance(pair, dict) else {}
        for side in ("positive", "opposite"):
            name = entry.get(side)
            if isinstance(name, str) and name not in names:
                what = f"phrase {name} is not in this file; add it or mend its spelling"
                yield Fault(str(path), what, field=f"opposites.{index}.{side}")
        if entry.get("positive") and entry.get("positive") == entry.get("opposite"):
            yield Fault(str(path), "a phrase cannot be its own opposite", field=f"opposites.{index}")


def _decoy_files(raw: Mapping[str, object], path: Path) -> tuple[list[str], str, list[Fault]]:
    """Return the words of the decoy files, the hash over their bytes, and their faults."""
    words: list[str] = []
    faults: list[Fault] = []
    digest = hashlib.sha256()
    names = raw.get("decoy_files")
    for name in names if isinstance(names, list) else []:
        file = path.parent / str(name)
        try:
            data = file.read_bytes()
            lines = data.decode("utf-8").splitlines()
        except (OSError, UnicodeDecodeError):
            faults.append(Fault(str(file), "the decoy file cannot be read as UTF-8 text; check its name"))
            continue
        digest.update(data)
        for number, line in enumerate(lines, start=1):
            if line != normalise(line) or " " in line or not line:
                faults.append(Fault(str(file), f'line {number} "{line}" must be one lower case word'))
            else:
                words.append(line)
    return words, digest.hexdigest(), faults
