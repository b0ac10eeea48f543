"""The short code of a log, to be written on the paperwork: the anchor outside the tablet.

Twelve digits stand for everything up to one record, and two check digits (ISO 7064 MOD 97-10, as on
bank account numbers) tell a code copied wrongly from a log that does not match. Digits, because they
are said, heard and written alike in every language.

What it is worth. Two different logs share a code by chance once in 10**12. Somebody who wants another
log with the code that already stands on the paper must try about 10**12 variants; each try costs a
memory-hard scrypt (RFC 7914) of some hundredths of a second, which comes to some hundred
processor-years. Somebody who prepares a true and a false log *before* the code is given out needs
about 10**6 tries each, hours of computing; the code does not stand against that, the signature does
unless they hold the tablet's key as well.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache

from assistant.errors import InputError

_DIGITS = 12
_WORK = 2**12  # scrypt N with r = 8: 4 MiB and about 15 ms on a small computer; part of log version 1


@lru_cache(maxsize=64)
def code_of(digest_hex: str, run: str) -> str:
    """Return the code of a record's hash in a run, in groups: "4821 0937 5516 42"."""
    stretched = hashlib.scrypt(
        bytes.fromhex(digest_hex), salt=b"hitchcall code 1\n" + run.encode(), n=_WORK, r=8, p=1, dklen=16
    )
    number = int.from_bytes(stretched, "big") % 10**_DIGITS
    return spaced(f"{number:0{_DIGITS}d}{_check_digits(number):02d}")


def spaced(digits: str) -> str:
    """Return digits in groups of four, as they are spoken and printed."""
    return " ".join(digits[at : at + 4] for at in range(0, len(digits), 4))


def digit_by_digit(code: str) -> str:
    """Return a code as it is said, each digit alone and a pause between groups: "4 8 2 1, 0 9 …"."""
    return ", ".join(" ".join(group) for group in code.split())


def read_code(text: str) -> str:
    """Return a code as a person typed it in its normal form.

    Spaces, dots and dashes do not matter. Raises `InputError` when a digit is missing, too many, or
    when the check digits say that it was copied wrongly.
    """
    digits = "".join(char for char in text if char not in " \t.-")
    if not (digits.isascii() and digits.isdigit() and len(digits) == _DIGITS + 2):
        raise InputError(f'"{text}" is no log code: a code has {_DIGITS + 2} digits.')
    if int(digits) % 97 != 1:
        raise InputError(f'The log code "{text}" was copied wrongly: its check digits do not fit.')
    return spaced(digits)


def _check_digits(number: int) -> int:
    """ISO 7064 MOD 97-10: the two digits that make the whole number leave 1 when divided by 97."""
    return 98 - number * 100 % 97
