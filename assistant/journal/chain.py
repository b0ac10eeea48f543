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
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import orjson
import rfc8785

VERSION = 1
MAX_LINE = 256 * 1024
"""Longest line in bytes. A record holds one utterance or one decision; this is 100 times the largest."""

_MAX_INTEGER = 2**53 - 1
_MAX_DEPTH = 32
_LISTS = (list, tuple)
_SORTED = orjson.OPT_SORT_KEYS


class RecordError(ValueError):
    """A value that cannot be a record; the message is a sentence part for people."""


def canonical(value: object, depth: int = 0) -> bytes:
    """Return the RFC 8785 canonical JSON of ``value``, which stands ``depth`` levels deep in its line.

    Takes dicts with text keys, lists, tuples, text, whole numbers, booleans and None; anything else,
    floats among it, raises `RecordError`. The fast encoder gives the same bytes as the reference
    implementation when keys are ASCII, at a thirtieth of the time; other keys (their order is by UTF-16
    code unit) go to the reference implementation.
    """
    plain_keys = _check(value, depth)
    try:
        return orjson.dumps(value, option=_SORTED) if plain_keys else rfc8785.dumps(value)  # type: ignore[arg-type]
    except (TypeError, UnicodeEncodeError) as error:
        raise RecordError("a text holds half a character (a lone surrogate)") from error


def is_canonical(value: object, data: bytes) -> bool:
    """Return whether ``data`` is the canonical JSON of ``value``, which was read from it without floats."""
    try:
        return orjson.dumps(value, option=_SORTED) == data or canonical(value) == data
    except TypeError:  # a lone surrogate has no bytes
        return False


def _check(value: object, depth: int = 0) -> bool:
    """Refuse what has no exact canonical form; True when all keys are ASCII.

    Exact types come first, and a container looks at its plain members itself: this runs before every answer.
    """
    kind = type(value)
    plain = True
    if kind is dict:
        for key in value:  # type: ignore[attr-defined]
            if type(key) is not str:
                raise RecordError(f"the key {key!r} is not text")
            if not key.isascii():
                plain = False
        members: Iterable[object] = value.values()  # type: ignore[attr-defined]
    elif kind in _LISTS:
        members = value  # type: ignore[assignment]
    else:
        return _check_plain(value)
    if depth > _MAX_DEPTH:
        raise RecordError(f"values are nested deeper than {_MAX_DEPTH}")
    for item in members:
        if type(item) is not str and item is not None and not _check(item, depth + 1):
            plain = False
    return plain


def _check_plain(value: object) -> bool:
    kind = type(value)
    if value is None or kind is str or kind is bool:
        return True
    if kind is not int:
        raise RecordError(f"{value!r} is not text, a whole number, a list or an object")
    if not -_MAX_INTEGER <= value <= _MAX_INTEGER:  # type: ignore[operator]
        raise RecordError("a whole number is beyond 2**53 - 1")
    return True


def genesis(run: str) -> str:
    """Return the ``prev`` of a run's first record: SHA-256 of "hitchcall log 1" and the run id."""
    return hashlib.sha256(b"hitchcall log 1\n" + run.encode()).hexdigest()


@dataclass(slots=True)
class Made:
    """A record made into a line: its bytes with the newline, its hash, and its signature if it has one."""

    whole: bytes
    digest: str
    signed: str = ""  # the hash that the signature is over
    signature: str = ""


def made(
    *,
    kind: str,
    seq: int,
    wall: str,
    mono: int,
    prev: str,
    data: Mapping[str, object],
    sign: Callable[[str], str] | None = None,
) -> Made:
    """Return the line of a record, signed by ``sign`` if that is given.

    ``kind`` is a type of record, ``wall`` a stamp and ``prev`` a hash: their letters need no escape, so the
    fields are set in canonical order by hand, and the data is encoded only once.
    """
    _check([seq, mono])
    front = b'{"data":' + canonical(data, 1)
    middle = f',"mono":{mono},"prev":"{prev}","seq":{seq}'.encode()
    back = f',"type":"{kind}","v":{VERSION},"wall":"{wall}"}}'.encode()
    signed = signature = ""
    if sign is not None:
        signed = hashlib.sha256(front + middle + back).hexdigest()
        signature = sign(signed)
        back = f',"sig":"{signature}"'.encode() + back
    digest = hashlib.sha256(front + middle + back).hexdigest()
    whole = b"".join((front, b',"hash":"', digest.encode(), b'"', middle, back, b"\n"))
    return Made(whole, digest, signed, signature)


def without_hash(whole: bytes) -> bytes:
    """Return the part of a canonical line (no newline) that its hash covers; ValueError without one."""
    at = whole.rindex(b',"hash":"')
    return whole[:at] + whole[at + 74 :]


def without_signature(hashed: bytes) -> bytes:
    """Return the part of what a hash covers that the signature covers; ValueError without one."""
    at = hashed.rindex(b',"sig":"')
    return hashed[:at] + hashed[at + 137 :]
