"""Strict reading of a TOML file into a model, with every fault put in one plain sentence."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from assistant.errors import Fault, FileFaults

_SAY = {
    "extra_forbidden": "this key is not known here; remove it or mend its spelling",
    "missing": "is missing; add it",
    "string_type": "must be text in quotes",
    "list_type": "must be a list in square brackets",
    "tuple_type": "must be a list in square brackets",
    "dict_type": "must be a table",
    "mapping_type": "must be a table",
    "model_type": "must be a table",
    "too_short": "has too few entries",
    "too_long": "has too many entries",
    "bool_type": "must be true or false",
    "int_type": "must be a whole number",
}


class StrictModel(BaseModel):
    """Base of every model of a file: no unknown keys, no silent conversion, never changed later."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def read_toml(path: Path) -> tuple[dict[str, object], bytes]:
    """Return the parsed table and the bytes of a TOML file; FileFaults when it cannot be read."""
    try:
        raw = path.read_bytes()
        return tomllib.loads(raw.decode("utf-8")), raw
    except FileNotFoundError:
        what = "there is no such file; check the name"
    except OSError as error:
        what = f"the file cannot be read ({error.strerror}); check its permissions"
    except UnicodeDecodeError as error:
        what = f"byte {error.start} is not UTF-8; save the file as UTF-8 text"
    except tomllib.TOMLDecodeError as error:
        what = f"is not valid TOML: {error}"
    raise FileFaults([Fault(str(path), what)]) from None


def faults_of(error: ValidationError, path: Path) -> list[Fault]:
    """Return each fault pydantic found, as a sentence with its field."""
    return [
        Fault(str(path), _sentence(detail), field=".".join(str(part) for part in detail["loc"]))
        for detail in error.errors(include_url=False)
    ]


def table(raw: Mapping[str, object], key: str) -> Mapping[str, object]:
    """Return the table under ``key``, or an empty one when it is missing or no table."""
    value = raw.get(key)
    return value if isinstance(value, dict) else {}


def _sentence(detail: ErrorDetails) -> str:
    if detail["type"] == "value_error":
        return str(detail["ctx"]["error"])
    return _SAY.get(detail["type"], detail["msg"])
