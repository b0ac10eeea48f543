"""Units: a limit in one unit judges a reading in another."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.errors import InputError
from assistant.phrases.number_types import UNITS, Kind
from assistant.phrases.units import convert, kind_of


@pytest.mark.parametrize(
    ("value", "unit", "to", "rounded"),
    [
        ("60", "psi", "kPa", "414"),
        ("100", "psi", "kPa", "689"),
        ("38", "mm", "in", "1"),
        ("2", "min", "s", "120"),
    ],
)
def test_published_pairs(value: str, unit: str, to: str, rounded: str) -> None:
    """NIST SP 811 B.8 factors, on pairs as printed beside each other in driver manuals (60 psi, 414 kPa)."""
    assert f"{convert(Decimal(value), unit, to):.0f}" == rounded


def test_sixty_kilopascals_is_not_sixty_psi() -> None:
    """Hazard: a pressure in kPa taken for psi passes with a seventh of the air."""
    assert convert(Decimal(60), "kPa", "psi") < 9


@given(value=st.decimals(-9999, 9999, places=5), kind=st.sampled_from(list(Kind)))
def test_there_and_back(value: Decimal, kind: Kind) -> None:
    """Promise: converting to another unit and back moves no limit."""
    for unit in UNITS[kind]:
        for other in UNITS[kind]:
            assert abs(convert(convert(value, unit, other), other, unit) - value) < Decimal("1e-18")
            assert kind_of(other) is kind


def test_different_things_are_not_converted() -> None:
    """Promise: inches of play never become a pressure; an unknown unit is named."""
    with pytest.raises(InputError, match="different things"):
        convert(Decimal(1), "in", "psi")
    with pytest.raises(InputError, match="furlong is no unit"):
        convert(Decimal(1), "furlong", "in")
