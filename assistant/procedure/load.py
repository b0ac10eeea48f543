"""Reading procedure, rig, site, yard and word files, with every fault of a file told at once.

A yard's own folder (``--procedures``) is laid over the shipped one: what it holds is taken from
there, the rest from what is shipped.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from assistant.errors import Fault, FileFaults, InputError
from assistant.procedure.model import Procedure, Rig, Site, Yard
from assistant.procedure.words import ProcedureWords, YardWords

M = TypeVar("M", bound=BaseModel)
MAX_BYTES = 1_000_000  # no hand-written procedure is near this; a bound keeps a wrong file from hurting


@dataclass(frozen=True, slots=True)
class Library:
    """The folders procedures are taken from, the yard's own first."""

    roots: tuple[Path, ...]

    def find(self, relative: str) -> Path | None:
        """Return the first file of that relative name, or None."""
        for root in self.roots:
            path = root / relative
            if path.is_file():
                return path
        return None

    def names(self, kind: str) -> list[str]:
        """Names that exist: ``kind`` is "procedures", "rigs" or "sites"."""
        found: set[str] = set()
        for root in self.roots:
            if kind == "procedures":
                found |= {path.parent.name for path in root.glob("*/procedure.toml")}
            else:
                found |= {path.stem for path in (root / kind).glob("*.toml")}
        return sorted(found)


@dataclass(frozen=True, slots=True)
class Files:
    """One run's files, read and checked one by one; ``hashes`` maps relative name → SHA-256."""

    procedure: Procedure
    words: ProcedureWords
    yard: Yard
    yard_words: YardWords
    rig: Rig
    site: Site
    rig_name: str
    site_name: str
    lang: str
    paths: dict[str, Path] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)

    @property
    def rig_title(self) -> str:
        """What the rig is called in the run's language; lint has seen that it is there."""
        return self.rig.title[self.lang]

    @property
    def site_title(self) -> str:
        """What the site is called in the run's language; lint has seen that it is there."""
        return self.site.title[self.lang]


def _step_name(data: Any, loc: tuple[int | str, ...]) -> str:
    """Name the step, rule or hazard a fault lies in, as its author would."""
    if len(loc) >= 2 and isinstance(loc[0], str) and isinstance(loc[1], int):
        try:
            return str(data[loc[0]][loc[1]].get("id", f"number {loc[1] + 1}"))
        except (KeyError, IndexError, AttributeError, TypeError):
            return f"number {loc[1] + 1}"
    if len(loc) >= 3 and loc[0] in {"step", "look"}:
        return str(loc[1])
    return ""


_SENTENCES = {
    "extra_forbidden": "is not a key known here; remove it or correct its spelling",
    "missing": "is missing; add it",
    "dict_type": 'is no table; write it as { name = "value" }',
}


def _faults(name: str, data: Any, error: ValidationError) -> list[Fault]:
    out = []
    for item in error.errors():
        loc = item["loc"]
        step = _step_name(data, loc)
        fields = ".".join(str(part) for part in loc[2 if step else 0 :]) or str(loc[0] if loc else "")
        what = _SENTENCES.get(item["type"], f"{item['msg'][:1].lower()}{item['msg'][1:]}")
        out.append(Fault(file=name, step=step, field=fields, what=what))
    return out


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes; raises FileFaults when it cannot be read or is far too large."""
    name = str(path)
    try:
        size = path.stat().st_size
        raw = path.read_bytes() if size <= MAX_BYTES else b""
    except OSError as error:
        raise FileFaults([Fault(name, f"cannot be read ({error.strerror}); check the name and rights")]) from None
    if size > MAX_BYTES:
        raise FileFaults([Fault(name, f"is {size} bytes long; a file of this kind is under {MAX_BYTES}")])
    return raw


def parse_toml(raw: bytes, name: str) -> dict[str, Any]:
    """Return the table that TOML bytes hold; raises FileFaults on anything else."""
    try:
        return tomllib.loads(raw.decode("utf-8"), parse_float=Decimal)
    except UnicodeDecodeError:
        raise FileFaults([Fault(name, "is not UTF-8 text; save it as UTF-8")]) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FileFaults([Fault(name, f"is not valid TOML: {error}")]) from None


@lru_cache(maxsize=128)  # whoever proves or lints a library reads the same few files for every rig and site
def _parsed(raw: bytes, name: str, model: type[M]) -> M:
    table = parse_toml(raw, name)
    try:
        # Through JSON, so that strict mode still takes "danger" for a Signal and 0.5 for a Decimal.
        text = json.dumps(table, default=str)
        return model.model_validate_json(text, strict=True)
    except ValidationError as error:
        raise FileFaults(_faults(name, table, error)) from None


def read_model(path: Path, model: type[M]) -> tuple[M, str]:
    """Read one file strictly as ``model``, with its SHA-256; all its faults are raised at once."""
    raw = read_bytes(path)
    return _parsed(raw, str(path), model), hashlib.sha256(raw).hexdigest()


def _named(library: Library, relative: str, what: str, known: Iterable[str]) -> Path:
    path = library.find(relative)
    if path is None:
        names = ", ".join(known) or "none"
        raise InputError(f"There is no {what} (looked for {relative}); known here: {names}.")
    return path


def load_site(library: Library, site: str) -> Site:
    """Read one site file alone; raises InputError when there is none, FileFaults with all its faults."""
    _usable(site)
    return read_model(_named(library, f"sites/{site}.toml", f"site {site!r}", library.names("sites")), Site)[0]


def _usable(name: str) -> None:
    if not name or not all(ch.isalnum() or ch in "-_" for ch in name):
        raise InputError(f"The name {name!r} is not usable; names are letters, digits and hyphens.")


def load_files(library: Library, procedure: str, rig: str, site: str, lang: str) -> Files:
    """Read all files of one run; the faults of every faulty file are raised together."""
    for name in (procedure, rig, site, lang):
        _usable(name)
    wanted: list[tuple[str, type[BaseModel], str, Iterable[str]]] = [
        (f"{procedure}/procedure.toml", Procedure, f"procedure {procedure!r}", library.names("procedures")),
        (f"rigs/{rig}.toml", Rig, f"rig {rig!r}", library.names("rigs")),
        (f"sites/{site}.toml", Site, f"site {site!r}", library.names("sites")),
        ("yard.toml", Yard, "yard file", []),
        (f"{procedure}/{lang}.toml", ProcedureWords, f"wording of {procedure} in language {lang!r}", []),
        (f"{lang}.toml", YardWords, f"shared wording in language {lang!r}", []),
    ]
    faults: list[Fault] = []
    got: list[Any] = []
    paths: dict[str, Path] = {}
    hashes: dict[str, str] = {}
    for relative, model, what, known in wanted:
        path = _named(library, relative, what, known)
        paths[relative] = path
        try:
            part, hashes[relative] = read_model(path, model)
            got.append(part)
        except FileFaults as error:
            faults.extend(error.faults)
    if faults:
        raise FileFaults(faults)
    return Files(
        procedure=got[0], rig=got[1], site=got[2], yard=got[3], words=got[4], yard_words=got[5],
        rig_name=rig, site_name=site, lang=lang, paths=paths, hashes=hashes,
    )  # fmt: skip
