"""TOML as text, for tests that write a changed procedure or word file: the standard library only reads it."""

from __future__ import annotations

import json
from typing import Any


def to_toml(value: Any) -> str:
    """Write a value as inline TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {to_toml(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(to_toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)


def written(table: dict[str, Any]) -> str:
    """Write a whole file: its top keys, each inline."""
    return "".join(f"{json.dumps(key)} = {to_toml(value)}\n" for key, value in table.items())
