"""Stores on every database that holds one, and runs for them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant.fleet.store import Store
from assistant.journal.keys import TabletKey, tablet_key
from assistant.prepare import Prepared, grammars, library, prepare
from tests.fleet.cluster import Cluster, programs

DATABASES = ("sqlite", "postgresql")
Empty = Callable[[], str]


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    """A PostgreSQL of our own, for all tests of a worker."""
    found = programs()
    if found is None:
        told = "PostgreSQL is not installed; ./check installs it"
        if os.environ.get("HITCHCALL_CHECK"):
            pytest.fail(told)
        pytest.skip(told)
    running = Cluster(found)
    yield running
    running.remove()


@pytest.fixture(params=DATABASES)
def database(request: pytest.FixtureRequest) -> str:
    """Which database a test is about."""
    return str(request.param)


@pytest.fixture
def empty(database: str, request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Empty:
    """Makes places for stores in that database, each empty."""
    if database == "postgresql":
        return request.getfixturevalue("cluster").address  # type: ignore[no-any-return]
    folder = tmp_path_factory.mktemp("stores")
    made = iter(range(1000))
    return lambda: str(folder / f"{next(made)}.sqlite")


@pytest.fixture
def store(empty: Empty) -> Iterator[Store]:
    """An empty store."""
    with Store(empty()) as made:
        yield made


@pytest.fixture(scope="session")
def couple() -> Prepared:
    """The coupling on the default rig."""
    return prepare(library(), grammars(), "couple")


@pytest.fixture(scope="session")
def tablets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, TabletKey]:
    """Two tablets' keys."""
    folder = tmp_path_factory.mktemp("tablets")
    return {name: tablet_key(folder / name) for name in ("one", "two")}


@pytest.fixture
def keys(tmp_path: Path, tablets: dict[str, TabletKey]) -> dict[str, TabletKey]:
    """Two tablets; ``known/one.pub`` is the only public key the trainer has at first."""
    (tmp_path / "known").mkdir()
    (tmp_path / "known" / "one.pub").write_text(tablets["one"].public_pem())
    return tablets
