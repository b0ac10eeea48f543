"""The chain: how a record becomes one line, and what its hash covers.

A line is the RFC 8785 canonical JSON of

    {"data": {…}, "hash": H, "mono": ms, "prev": P, "seq": n, ["sig": S,] "type": …, "v": 1, "wall": …}

``S`` is the tablet's Ed25519 signature (RFC 8032) over the SHA-256 (FIPS 180-4) of the canonical JSON of
the same object without ``hash`` and ``sig``; ``H`` is the SHA-256 of it without ``hash`` alone, so that no
byte of a line stands outside the chain. ``P`` is the ``hash`` of the record before it, and of the first
record the hash of the run id, so that no record of one run fits into another. Since ``P`` covers
everything before it, one good signature vouches for all records up to it.

Numbers are integers up to 2**53 - 1: a float that goes through a file and back may come out as
another type, and then the same run gives other bytes.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from typing import Any, NamedTuple

import orjson
import rfc8785

VERSION = 1
MAX_LINE = 256 * 1024
"""Longest line in bytes. A record holds one utterance or one decision; this is 100 times the largest."""

_MAX_DEPTH = 32
_TOO_DEEP = f"values are nested deeper than {_MAX_DEPTH}"
_NESTED = frozenset({dict, list, tuple})
_LEAVES = frozenset({str, int, bool, type(None)})
_SORTED = orjson.OPT_SORT_KEYS | orjson.OPT_STRICT_INTEGER


class RecordError(ValueError):
    """A value that cannot be a record; the message is a sentence part for people."""


def canonical(value: object, depth: int = 0) -> bytes:
    """Return the RFC 8785 canonical JSON of ``value``, which stands ``depth`` levels deep in its line.

    Takes dicts with text keys, lists, tuples, text, whole numbers, booleans and None; anything else,
    floats among it, raises `RecordError`. The fast encoder gives the same bytes as the reference
    implementation when keys are ASCII, at a thirtieth of the time; other keys (their order is by UTF-16
    code unit) go to the reference implementation.
    """
    try:
        data = orjson.dumps(value, option=_SORTED)
    except TypeError as error:
        raise RecordError(_why_not(value)) from error
    _refuse_inexact([(value,)], depth)
    # Where every byte is ASCII every key is: one look at the whole instead of one at each.
    return data if data.isascii() or _plain_keys(value) else rfc8785.dumps(value)  # type: ignore[arg-type]


def is_canonical(value: object, data: bytes) -> bool:
    """Return whether ``data`` is the canonical JSON of ``value``, which was read from it without floats."""
    try:
        return orjson.dumps(value, option=_SORTED) == data or canonical(value) == data
    except TypeError:  # a lone surrogate has no bytes, a number beyond 2**53 - 1 no exact ones
        return False


def _refuse_inexact(holders: list[Any], depth: int) -> None:
    """Refuse what the fast encoder takes and writes down as something else: floats, enums, deep nesting.

    The rest (keys that are no text, numbers too large, half characters, a ring of lists) it has refused itself.
    One loop over a list that grows, because this runs before every answer.
    """
    for holder in holders:
        for item in holder.values() if type(holder) is dict else holder:
            kind = type(item)
            if kind is not str and kind not in _LEAVES:
                if kind not in _NESTED:
                    raise RecordError(f"{item!r} is not text, a whole number, a list or an object")
                holders.append(item)
    if len(holders) + depth > _MAX_DEPTH and _too_deep(holders[0], _MAX_DEPTH + 2 - depth):
        raise RecordError(_TOO_DEEP)


def _too_deep(value: object, left: int) -> bool:
    """Return whether more than ``left`` lists and objects stand within each other, a ring of them too."""
    return type(value) in _NESTED and (left == 0 or any(_too_deep(item, left - 1) for item in _members(value)))


def _members(value: object) -> Iterable[object]:
    return value.values() if type(value) is dict else value  # type: ignore[return-value]


def _everything(value: object) -> Iterator[object]:
    """Yield a value and all that stands in it, keys too."""
    yield value
    if type(value) is dict:
        yield from value
    if type(value) in _NESTED:
        for item in _members(value):
            yield from _everything(item)


def _why_not(value: object) -> str:
    """Return why the encoder refused a value."""
    if _too_deep(value, _MAX_DEPTH):
        return _TOO_DEEP
    for item in _everything(value):
        if type(item) is int and abs(item) >= 2**53:
            return "a whole number is beyond 2**53 - 1"
        if type(item) is dict:
            for key in item:
                if type(key) is not str:
                    return f"the key {key!r} is not text"
    return "a text holds half a character (a lone surrogate)"


def _plain_keys(value: object) -> bool:
    """Return whether the keys of all objects in a value are ASCII."""
    return all("".join(item).isascii() for item in _everything(value) if type(item) is dict)


def genesis(run: str) -> str:
    """Return the ``prev`` of a run's first record: SHA-256 of "hitchcall log 1" and the run id."""
    return hashlib.sha256(b"hitchcall log 1\n" + run.encode()).hexdigest()


_NOTHING_HASHED = hashlib.sha256()


class Made(NamedTuple):
    """A record made into a line: its number, its hash, and its bytes with the newline."""

    seq: int
    digest: str
    whole: bytes


def made(
    *,
    kind: str,
    seq: int,
    wall: str,
    mono: int,
    prev: str,
    data: bytes,
    sign: Callable[[str], str] | None = None,
) -> Made:
    """Return the line of a record whose canonical ``data`` are given, signed by ``sign`` if there is one.

    ``kind`` is a type of record, ``wall`` a stamp and ``prev`` a hash: their letters need no escape, so the
    fields are set in canonical order by hand, and the data is encoded only once.
    """
    front = b'{"data":' + data
    middle = f',"mono":{mono:d},"prev":"{prev}","seq":{seq:d}'
    back = f',"type":"{kind}","v":{VERSION},"wall":"{wall}"}}'
    if sign is not None:
        signature = sign(hashlib.sha256(front + (middle + back).encode()).hexdigest())
        back = f',"sig":"{signature}"{back}'
    rest = (middle + back).encode()
    hashed = _NOTHING_HASHED.copy()  # quicker than looking up the function by its name each time
    hashed.update(front + rest)
    digest = hashed.hexdigest()
    return Made(seq, digest, front + f',"hash":"{digest}"'.encode() + rest + b"\n")


def without_hash(whole: bytes) -> bytes:
    """Return the part of a canonical line (no newline) that its hash covers; ValueError without one."""
    at = whole.rindex(b',"hash":"')
    return whole[:at] + whole[at + 74 :]


def without_signature(hashed: bytes) -> bytes:
    """Return the part of what a hash covers that the signature covers; ValueError without one."""
    at = hashed.rindex(b',"sig":"')
    return hashed[:at] + hashed[at + 137 :]
