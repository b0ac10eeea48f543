"""The vocabulary of the log, and that anything at all can be written and read, or is refused in words."""

from __future__ import annotations

import dataclasses
import json
import shutil
import uuid
from decimal import Decimal
from pathlib import Path

import pytest
import rfc8785
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.errors import HitchcallError, LogError
from assistant.journal import records
from assistant.journal.chain import MAX_LINE, RecordError, canonical
from assistant.journal.keys import TabletKey
from assistant.journal.lines import plain, with_words
from assistant.journal.reader import LogReader, raw_lines
from assistant.journal.records import TYPES, Closed, Decided, Note, Record, decode, markdown
from assistant.journal.resume import Resumer
from assistant.journal.verify import State, verify
from assistant.journal.words import read_words
from assistant.journal.writer import Writer
from assistant.phrases.live import Hearing, Reading, Role, Unheard
from tests.journal.conftest import SetClocks
from tests.journal.scripted import opened

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
whole = st.integers(-(2**53) + 1, 2**53 - 1)
values = st.recursive(
    st.none() | st.booleans() | whole | text,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(text, inner, max_size=4),
    max_leaves=12,
)
objects = st.dictionaries(text, values, max_size=5)


def strategy(kind: type[Record]) -> st.SearchStrategy[Record]:
    """Return any record of a type, from the types of its fields."""
    by_type = {
        "str": text,
        "int": whole,
        "bool": st.booleans(),
        "str | None": st.none() | text,
        "int | None": st.none() | whole,
        "Json": objects,
        "Json | None": st.none() | objects,
        "tuple[str, ...]": st.lists(text, max_size=3).map(tuple),
        "tuple[Json, ...]": st.lists(objects, max_size=3).map(tuple),
    }
    return st.builds(kind, **{field.name: by_type[str(field.type)] for field in dataclasses.fields(kind)})


any_record = st.one_of([strategy(kind) for kind in TYPES.values()])


def test_every_type_is_known() -> None:
    """Nobody can add a type of record and forget to make it readable."""
    found = {kind for kind in vars(records).values() if isinstance(kind, type) and issubclass(kind, Record)}
    assert found - {Record} == set(TYPES.values())
    for name, kind in TYPES.items():
        assert f"| `{name}` |" in markdown()
        assert all(f"`{field.name}`" in markdown() for field in dataclasses.fields(kind))


@given(any_record)
def test_round_trip(record: Record) -> None:
    """What is written of a record comes back as the same record."""
    assert decode(record.TYPE, json.loads(canonical(record.to_data()))) == record


@given(any_record, st.data())
def test_wrong_data_is_refused_in_words(record: Record, data: st.DataObject) -> None:
    """A field of another kind, missing or unknown, is named."""
    spoilt = record.to_data()
    name = data.draw(st.sampled_from(sorted(spoilt)))
    spoilt[name] = 1.5
    with pytest.raises(RecordError, match=f"{record.TYPE}.{name}"):
        decode(record.TYPE, spoilt)
    with pytest.raises(RecordError, match="no field"):
        decode(record.TYPE, {**record.to_data(), "else": 1})


@given(st.dictionaries(st.text(max_size=4), values, max_size=6))
def test_canonical_is_the_reference(value: dict[str, object]) -> None:
    """The quick canonical form is byte for byte the reference implementation's (RFC 8785)."""
    try:
        expected = rfc8785.dumps(value)  # type: ignore[arg-type]
    except (UnicodeEncodeError, rfc8785.CanonicalizationError):
        with pytest.raises(RecordError):
            canonical(value)
        return
    assert canonical(value) == expected


ring: list[object] = []
ring.append(ring)


class Word(str):
    """Text of another type."""


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (1.0, "1.0 is not text"), (float("nan"), "nan is not text"), (Unheard.NOT_A_PHRASE, "is not text"),
        (uuid.UUID(int=7), "is not text"), (2**53, "beyond"), (-(2**53), "beyond"), ({1: "a"}, "the key 1 is not"),
        ({Word("a"): "a"}, "the key 'a' is not"), ("\ud800", "half a character"), (ring, "nested deeper than 32"),
    ],
)  # fmt: skip
def test_inexact_values_are_refused(value: object, why: str) -> None:
    """Nothing goes into a log that would come out as something else, wherever in the record it stands."""
    for holder in (value, {"x": value}, [{"é": [value]}]):
        with pytest.raises(RecordError, match=why):
            canonical(holder)


@pytest.mark.parametrize("value", [object(), b"x", {1, 2}, Word("a")])
def test_other_kinds_are_refused(value: object) -> None:
    """What is no JSON at all is refused too."""
    with pytest.raises(RecordError):
        canonical({"x": [value]})


@given(st.integers(30, 36), st.integers(0, 1), st.booleans())
def test_deep_values_are_refused(depth: int, standing: int, lists: bool) -> None:
    """A line may hold 32 levels below its own, and the one that is too deep is known at any place in it."""
    value: object = "x"
    for _ in range(depth):
        value = [value, "y"] if lists else {"a": 1, "b": value}
    if depth + standing > 33:
        with pytest.raises(RecordError, match="nested deeper than 32"):
            canonical(value, standing)
    else:
        assert canonical(value, standing) == rfc8785.dumps(value)  # type: ignore[arg-type]


hearings = st.builds(
    Hearing,
    engine=text,
    words=st.text(max_size=40),
    phrase=st.none() | text,
    reading=st.none() | st.builds(Reading, st.decimals(allow_nan=False, allow_infinity=False), st.none() | text, text),
    unheard=st.none() | st.sampled_from(Unheard),
    who=st.sampled_from(Role),
    start=st.floats(0, 1e6),
    end=st.floats(0, 1e6),
    speech_db=st.none() | st.floats(-120, 0),
    ears=st.dictionaries(
        text, st.fixed_dictionaries({"words": text, "phrase": text, "score": st.floats(-99, 0)}), max_size=2
    ),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(hearings | strategy(Note) | strategy(Decided).filter(lambda r: "words" not in str(r.event)), max_size=8)
)
def test_write_read_verify(fast: Path, key: TabletKey, things: list[Hearing | Record]) -> None:
    """Whatever is said and decided, the log of it can be read back and verifies."""
    logs = fast / "any"
    shutil.rmtree(logs, ignore_errors=True)
    writer = Writer.begin(logs, opened(key.public), key, clocks=SetClocks())
    for thing in things:
        if isinstance(thing, Hearing):
            writer.hear(thing)
        else:
            writer.append(thing)
    code = writer.finish(Closed(outcome="coupled"))
    verdict = verify(writer.folder, public=key.public, code=code)
    assert verdict.state is State.WHOLE, verdict.text()
    told = list(with_words(writer.folder))
    assert [entry.record for entry, _ in told if entry.kind in {"note", "decided"}] == [
        thing for thing in things if isinstance(thing, Record)
    ]
    heard = [said for entry, said in told if entry.kind == "heard"]
    assert [said and said.words for said in heard] == [
        thing.words.encode("utf-8", "replace").decode() for thing in things if isinstance(thing, Hearing)
    ]
    assert all(isinstance(plain(entry.record, said), str) for entry, said in told)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=400), st.sampled_from(["all", "before", "after", "instead", "words"]))
def test_garbage_gets_a_sentence(fast: Path, reference: Path, key: TabletKey, junk: bytes, where: str) -> None:
    """Any bytes at all are answered with a sentence and a line number, never a traceback or a hang."""
    folder = fast / "garbage"
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(reference, folder)
    log = folder / "log.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    spoilt = {
        "all": junk,
        "before": junk + b"".join(lines),
        "after": b"".join(lines) + junk,
        "instead": b"".join([*lines[:3], junk, b"\n", *lines[4:]]),
        "words": b"".join(lines),
    }[where]
    log.write_bytes(spoilt)
    if where == "words":
        (folder / "words.jsonl").write_bytes(junk)
        list(read_words(folder))
    if spoilt.rstrip(b"\0") != b"".join(lines):  # noughts behind the end are the room of a run that was killed
        try:
            assert verify(folder, public=key.public).state is not State.WHOLE
        except LogError as error:
            assert "no line in it is a record" in str(error)  # noqa: PT017 - either outcome is right
    for look in (
        lambda: list(LogReader(folder)),
        lambda: [plain(entry.record, said) for entry, said in with_words(folder)],
        lambda: verify(folder, public=key.public).text(),
        lambda: Resumer(folder, key, after_end=True).close(),
    ):
        try:
            look()
        except HitchcallError as error:
            said = str(error)
            assert said.count("\n") == 0
            assert said.endswith(".")


def test_absurd_line(tmp_path: Path) -> None:
    """A file without line ends cannot fill the memory; it is named as what it is."""
    (tmp_path / "log.jsonl").write_bytes(b"\0" * (3 << 20) + b"\n{}\n")
    first, second = raw_lines(tmp_path / "log.jsonl")
    assert len(first.data) == MAX_LINE + 1
    assert (second.number, second.offset, second.data) == (2, (3 << 20) + 1, b"{}")
    with pytest.raises(LogError, match="line 1: the line is longer than"):
        list(LogReader(tmp_path))


def test_deeply_nested_line(tmp_path: Path) -> None:
    """Brackets without end are a sentence, not a crash of the interpreter."""
    (tmp_path / "log.jsonl").write_bytes(b"[" * 100_000 + b"\n" + b"{}\n")
    with pytest.raises(LogError, match="line 1: the line is no JSON text"):
        list(LogReader(tmp_path))


def test_words_never_enter_the_chain(run: Path, tmp_path: Path, key: TabletKey) -> None:
    """What was said can be forgotten only because the log itself never holds it."""
    assert b"jaw closed" in (run / "words.jsonl").read_bytes()
    assert b"jaw closed" not in (run / "log.jsonl").read_bytes()
    assert b"weather" not in (run / "log.jsonl").read_bytes()
    writer = Writer.begin(tmp_path, opened(key.public), key)
    with pytest.raises(LogError, match="spoken words"):
        writer.append(Decided(event={"heard": [{"words": "jaw closed"}]}, decision={}))
    writer.close()


def test_no_consent_no_words(tmp_path: Path, key: TabletKey) -> None:
    """Without consent the words are not kept at all, and the log is whole without them."""
    writer = Writer.begin(tmp_path, opened(key.public, words=False), key)
    writer.hear(Hearing("typed", "jaw closed", phrase="jaw-closed", reading=None))
    writer.hear(Hearing("typed", "x", reading=Reading(Decimal("110.50"), "psi", "x")))
    writer.finish(Closed("coupled"))
    assert not (writer.folder / "words.jsonl").exists()
    assert verify(writer.folder, public=key.public).state is State.WHOLE
    assert [e.data["reading"] for e in LogReader(writer.folder) if e.kind == "heard"][1]["value"] == "110.50"  # type: ignore[index]


def test_record_before_the_last_is_refused(tmp_path: Path, key: TabletKey) -> None:
    """The order of a log is the order of time."""
    writer = Writer.begin(tmp_path, opened(key.public), key)
    writer.append(Note("x"), at=5000)
    with pytest.raises(LogError, match="before the last"):
        writer.append(Note("y"), at=4999)
    writer.close()
