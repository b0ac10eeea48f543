"""Shipped couplings, ready to decide over."""

from __future__ import annotations

import pytest
from drive import Drive

from assistant.prepare import Prepared, grammars, library, prepare


@pytest.fixture(scope="session")
def ready() -> Prepared:
    """The coupling with everything fitted, in the order of the US handbook."""
    return prepare(library(), grammars(), "couple")


@pytest.fixture(scope="session")
def ready_cab_release() -> Prepared:
    """The coupling of the rig whose release is held from the cab."""
    return prepare(library(), grammars(), "couple", rig="cab-release")


@pytest.fixture
def drive(ready: Prepared) -> Drive:
    """A run that has just begun."""
    return Drive(ready)
