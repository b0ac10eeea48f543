"""Exact conversion between the units of one kind.

The inch is 25.4 mm exactly and the bar 100 kPa exactly (NIST SP 811, appendix B.8); one psi is taken
as 6.894757 kPa, that appendix's rounded factor. Which values are plausible is the site's business.
"""

from __future__ import annotations

from decimal import Decimal

from assistant.errors import InputError
from assistant.phrases.number_types import UNITS, Kind

_IN_BASE = {
    "kPa": Decimal(1), "bar": Decimal(100), "psi": Decimal("6.894757"),
    "mm": Decimal(1), "in": Decimal("25.4"),
    "s": Decimal(1), "min": Decimal(60),
    "deg": Decimal(1),
}  # fmt: skip


def kind_of(unit: str) -> Kind:
    """Return what a canonical unit measures; InputError for any other text."""
    for kind, units in UNITS.items():
        if unit in units:
            return kind
    known = ", ".join(unit for units in UNITS.values() for unit in units)
    raise InputError(f"{unit} is no unit known here; use one of {known}.")


def convert(value: Decimal, unit: str, to: str) -> Decimal:
    """Return ``value`` in unit ``to``; the same value untouched when the units are the same.

    Otherwise exact up to the 28 digits of decimal arithmetic. InputError when the two units measure
    different things.
    """
    if kind_of(unit) is not kind_of(to):
        raise InputError(f"{unit} cannot be turned into {to}: they measure different things.")
    return value if unit == to else value * _IN_BASE[unit] / _IN_BASE[to]
