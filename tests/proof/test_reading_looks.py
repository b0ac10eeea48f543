"""A fact that a gauge shows is looked at again by reading the gauge."""

from __future__ import annotations

import pytest

from assistant.errors import FileFaults
from assistant.prepare import library
from assistant.proof.checks import check
from assistant.proof.library import Run, plan_of
from assistant.proof.spin import run_spin

from .conftest import Build
from .test_checks import pairs_agree

GAUGE = [
    ('note = { values = ["made", "missing"] }', 'note = { values = ["made", "missing"], decays = true, secure = "made" }'),
    ("[look.pin]", """[look.note]
reading = { limit = "pressure", within = { sets = { note = "made" } }, outside = { sets = { note = "missing" } } }
[look.pin]"""),
    ('reading = { limit = "pressure", within = {}, outside = { next = "air" } }',
     'reading = { limit = "pressure", within = { sets = { note = "made" } }, '
     'outside = { sets = { note = "missing" }, next = "air" } }'),
]  # fmt: skip


def test_a_gauge_is_read_again_in_every_order_of_words(build: Build) -> None:
    """Proven to closure, and by spin: after any break both outcomes of the second reading count, low is asked again."""
    files, plan = build(*GAUGE)
    proof = check(files, plan)
    assert [str(one.fault) for one in proof.findings] == []
    assert {("note", "<within>"), ("note", "<outside>")} <= proof.used.answers
    spun = run_spin(plan, 120)
    assert spun.errors == 0
    assert pairs_agree(plan, spun.pairs)


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        (', secure = "made" }', " }", "must be secure at what that sets within its limit"),
        (', secure = "made" }', ', secure = "missing" }', "must be secure at what that sets within its limit"),
        ('outside = { sets = { note = "missing" } } }\n', "outside = { } }\n", "sets its own fact and nothing else"),
        ('limit = "pressure", within = { sets = { note = "made" } }, outside = { sets = { note = "missing" } }',
         'limit = "no-such", within = { sets = { note = "made" } }, outside = { sets = { note = "missing" } }',
         "the site has no such limit"),
        ("[look.pin]", 'answer = [{ phrase = "no-leak", sets = { note = "made" } }]\n[look.pin]', "beside its reading"),
    ],
)  # fmt: skip
def test_an_author_is_told_what_is_wrong_with_a_gauges_look(build: Build, old: str, new: str, what: str) -> None:
    """Low air that is no reason to charge, but to throw the whole coupling away, is refused when the file is read."""
    with pytest.raises(FileFaults) as told:
        build(*GAUGE, (old, new))
    assert any(what in str(fault) for fault in told.value.faults), [str(fault) for fault in told.value.faults]


def test_only_what_can_be_known_is_looked_at_again() -> None:
    """Two sites whose gauges differ have one plan where no gauge is read: a proof is not made twice for nothing."""
    looked = {}
    for procedure in ("road-ready", "uncouple"):
        found = plan_of(library(), Run(procedure, "slider-air", "uk-standard", "alone"), "en")
        assert found is not None
        looked[procedure] = {look.id for look in found[1].looks.values()}
    assert "air" in looked["road-ready"]
    assert "air" not in looked["uncouple"]
    assert {"tractor-brake", "trailer-brake", "chocks", "pin"} <= looked["uncouple"]
