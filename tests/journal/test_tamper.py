"""Every way of spoiling a log that can be tried one by one, and what verification says; counts printed."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.errors import HitchcallError
from assistant.journal import anchor
from assistant.journal.chain import canonical, genesis, made
from assistant.journal.diagnosis import Wrong
from assistant.journal.keys import TabletKey, tablet_key
from assistant.journal.reader import LogReader
from assistant.journal.records import Closed, Note
from assistant.journal.resume import Resumer
from assistant.journal.verify import State, verify
from assistant.journal.writer import Writer
from tests.journal.conftest import SetClocks, make_run
from tests.journal.scripted import opened

Spoil = Callable[[list[bytes]], list[bytes]]


def state(folder: Path, data: bytes, key: TabletKey, code: str = "") -> State:
    """Put bytes in the place of a log and return what verification makes of them."""
    (folder / "log.jsonl").write_bytes(data)
    try:
        return verify(folder, public=key.public, code=code).state
    except HitchcallError:
        return State.BROKEN


@pytest.mark.usefixtures("quick")
def test_every_byte_flipped(run: Path, key: TabletKey, capsys: pytest.CaptureFixture) -> None:
    """No byte of a finished log can change unseen."""
    log = (run / "log.jsonl").read_bytes()
    assert state(run, log, key) is State.WHOLE
    undetected = 0
    for at in range(len(log)):
        spoilt = bytearray(log)
        spoilt[at] ^= 1 << at % 8
        undetected += state(run, bytes(spoilt), key) is State.WHOLE
    with capsys.disabled():
        print(f"\n{len(log)} bytes flipped one at a time: undetected {undetected}")
    assert undetected == 0


def test_every_line_removed_doubled_swapped(run: Path, key: TabletKey, capsys: pytest.CaptureFixture) -> None:
    """No record can be taken out, repeated or put elsewhere unseen, and each is called by its name."""
    lines = (run / "log.jsonl").read_bytes().splitlines(keepends=True)
    tried = undetected = misnamed = 0

    def check(changed: list[bytes], *expected: tuple[Wrong, int]) -> None:
        nonlocal tried, undetected, misnamed
        tried += 1
        (run / "log.jsonl").write_bytes(b"".join(changed))
        verdict = verify(run, public=key.public)
        undetected += verdict.state is State.WHOLE
        misnamed += [(finding.wrong, finding.line) for finding in verdict.findings] != list(expected)

    for at in range(len(lines)):
        rest = lines[:at] + lines[at + 1 :]
        check(rest, *([(Wrong.REMOVED, at + 1)] if at < len(lines) - 1 else []))
        check(lines[: at + 1] + lines[at:], (Wrong.DOUBLED, at + 2))
        if at:
            # Of two neighbours that changed places either can be said to have moved.
            check([*lines[: at - 1], lines[at], lines[at - 1], *lines[at + 1 :]], (Wrong.MOVED, at))
    with capsys.disabled():
        print(f"\n{tried} lines removed, doubled, swapped: undetected {undetected}, misnamed {misnamed}")
    assert (undetected, misnamed) == (0, 0)


def test_all_faults_at_once(run: Path, key: TabletKey) -> None:
    """A trainer is told every fault with its line, not only the first."""
    lines = (run / "log.jsonl").read_bytes().splitlines(keepends=True)
    other = make_run(run.parent / "other", key)
    foreign = (other / "log.jsonl").read_bytes().splitlines(keepends=True)[8]
    spoilt = [*lines[:2], lines[2].replace(b'"jaw-closed"', b'"jaw-opened"'), *lines[4:8], b"rubbish\n", *lines[9:]]
    (run / "log.jsonl").write_bytes(b"".join(spoilt))
    found = {(finding.wrong, finding.line) for finding in verify(run, public=key.public).findings}
    assert (Wrong.ALTERED, 3) in found
    assert (Wrong.REMOVED, 4) in found
    assert (Wrong.NOT_A_RECORD, 8) in found
    (run / "log.jsonl").write_bytes(b"".join([*lines[:8], foreign, *lines[8:]]))
    found = [(f.wrong, f.line) for f in verify(run, public=key.public).findings]
    assert found == [(Wrong.INSERTED, 9)]


@pytest.mark.usefixtures("quick")
def test_tail_cut_at_every_byte(run: Path, key: TabletKey, capsys: pytest.CaptureFixture) -> None:
    """A cut end is never taken for a whole log, and the code on the paperwork proves the cut."""
    log = (run / "log.jsonl").read_bytes()
    code = verify(run).codes[-1]
    assert state(run, log, key, code) is State.WHOLE
    passed = unproven = 0
    for size in range(len(log)):
        plain = state(run, log[:size], key)
        passed += plain is State.WHOLE
        if plain is State.UNFINISHED:
            unproven += state(run, log[:size], key, code) is not State.BROKEN
    with capsys.disabled():
        print(f"\ntail cut at {len(log)} bytes: taken for whole {passed}, not proven by the code {unproven}")
    assert (passed, unproven) == (0, 0)


def rewritten(folder: Path, public: str, change: Callable[[int, dict[str, object]], None], **key: TabletKey) -> bytes:
    """Return a log written anew with a valid chain, signed with another key, or with old signatures."""
    lines = []
    prev = ""
    for entry in LogReader(folder):
        data = json.loads(json.dumps(entry.data))
        change(entry.seq, data)
        prev = prev or genesis(str(data["run"]))
        signer = key["signer"].sign if "signer" in key else lambda _, old=entry.signature: old
        line = made(
            kind=entry.kind,
            seq=entry.seq,
            wall=entry.wall,
            mono=entry.mono,
            prev=prev,
            data=canonical(data),
            sign=signer if entry.signature else None,
        )
        lines.append(line.whole)
        prev = line.digest
    return b"".join(lines)


def test_rewritten_without_the_key(run: Path, key: TabletKey, tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    """Whoever can write the file but has no key cannot make the log say something else."""
    thief = tablet_key(tmp_path)
    shutil.copy(run / "log.jsonl", tmp_path / "log.jsonl")
    records = sum(1 for _ in LogReader(run))
    tried = undetected = misplaced = 0
    for target in range(1, records):

        def change(seq: int, data: dict[str, object], target: int = target) -> None:
            if seq == target:
                data.update({name: "x" for name, value in data.items() if isinstance(value, str)} or {"text": "x"})

        def theirs(seq: int, data: dict[str, object]) -> None:
            if seq == 0:
                data["key"] = thief.public

        for data in (
            rewritten(tmp_path, key.public, change),
            rewritten(tmp_path, key.public, change, signer=thief),
            rewritten(tmp_path, key.public, theirs, signer=thief),
        ):
            tried += 1
            (run / "log.jsonl").write_bytes(data)
            verdict = verify(run, public=key.public)
            undetected += verdict.state is State.WHOLE
            misplaced += Wrong.SIGNATURE not in {finding.wrong for finding in verdict.findings}
    with capsys.disabled():
        print(f"\n{tried} logs rewritten with a valid chain and no key: undetected {undetected}")
    assert (undetected, misplaced) == (0, 0)


def test_rewritten_with_the_key_is_caught_by_the_paper(run: Path, key: TabletKey) -> None:
    """Even who holds the tablet's key cannot give a changed log the code that stands on the paperwork."""
    code = verify(run).codes[-1]

    def change(seq: int, data: dict[str, object]) -> None:
        if data.get("phrase"):
            data["phrase"] = "jaw-opened"

    forged = rewritten(run, key.public, change, signer=key)
    (run / "log.jsonl").write_bytes(forged)
    assert state(run, forged, key) is State.WHOLE  # said plainly under "cannot show"
    verdict = verify(run, public=key.public, code=code)
    assert [finding.wrong for finding in verdict.findings] == [Wrong.CODE]


def test_resume_after_a_cut_at_every_byte(
    run: Path, key: TabletKey, capsys: pytest.CaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Power may fail at any byte of any record: what was whole stays, the rest is kept and reported."""
    monkeypatch.setattr(anchor, "_WORK", 2)
    lines = (run / "log.jsonl").read_bytes().splitlines(keepends=True)[:-2]
    log, first = b"".join(lines), len(lines[0])
    finish = Closed(outcome="given up")
    lost = stuck = dropped = 0
    folder = run.parent / "cut"
    for size in range(first, len(log)):
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        shutil.copy(run / "words.jsonl", folder)
        (folder / "log.jsonl").write_bytes(log[:size])
        whole = log[:size].count(b"\n")
        try:
            writer = Resumer(folder, key, clocks=SetClocks()).go_on(
                program="2", decayed=("jaw",), changed=(), restarted=False, files={}
            )
            writer.finish(finish)
        except HitchcallError:
            stuck += 1
            continue
        entries = list(LogReader(folder))
        lost += (folder / "log.jsonl").read_bytes()[: len(b"".join(lines[:whole]))] != b"".join(lines[:whole])
        tail = log[:size].rpartition(b"\n")[2]
        told = entries[whole].data["torn"]
        kept = (folder / "log.torn-1").read_bytes() if tail else b""
        dropped += kept != tail or told != (["log.torn-1"] if tail else [])
        if size % 8 == 0:  # the reader has checked the chain already
            stuck += verify(folder, public=key.public).state is not State.WHOLE
    with capsys.disabled():
        print(
            f"\nresume after a cut at {len(log) - first} bytes: whole records lost {lost}, torn ends dropped "
            f"{dropped}, cannot resume {stuck}"
        )
    assert (lost, stuck, dropped) == (0, 0, 0)


def test_unsigned_tail_is_said_plainly(fast: Path, key: TabletKey) -> None:
    """What no signature vouches for yet is named, so that nobody relies on it."""
    writer = Writer.begin(fast / "unsigned", opened(key.public), key)
    writer.append(Note(text="one"))
    writer.close()
    verdict = verify(writer.folder, public=key.public)
    assert verdict.state is State.UNFINISHED
    assert any("records 2 to 2 were not rewritten" in what for what in verdict.unseen)
    shutil.rmtree(fast / "unsigned")


def test_wrong_and_miscopied_codes_are_told_apart(run: Path, key: TabletKey) -> None:
    """A slip of the pen must not look like a forged log."""
    code = verify(run).codes[-1]
    digit = str((int(code[0]) + 1) % 10)
    with pytest.raises(HitchcallError, match="copied wrongly"):
        verify(run, code=digit + code[1:])
    with pytest.raises(HitchcallError, match="14 digits"):
        verify(run, code=code[:-1])
    assert verify(run, code=code.replace(" ", "-")).state is State.WHOLE


def test_words_beside_the_log(run: Path, key: TabletKey) -> None:
    """Spoken words are as tamper-evident as the log, though they can be forgotten."""
    words = run / "words.jsonl"
    whole = words.read_bytes()
    words.write_bytes(whole.replace(b"jaw closed 1", b"jaw closed 9"))
    assert [f.wrong for f in verify(run, public=key.public).findings] == [Wrong.WORDS]
    words.write_bytes(b"".join(whole.splitlines(keepends=True)[1:]))
    [finding] = verify(run, public=key.public).findings
    assert "1 records are gone (record 2)" in finding.what
    words.unlink()
    assert "3 records are gone" in verify(run, public=key.public).findings[0].what


def test_a_torn_end_is_told_and_spoils_nothing(run: Path, key: TabletKey) -> None:
    """A power cut amid a record, or amid its words, is no tampering: what stands before it is sound."""
    log, words = run / "log.jsonl", run / "words.jsonl"
    whole = log.read_bytes()
    log.write_bytes(whole[:-40])
    words.write_bytes(words.read_bytes() + b'{"ears":{},"rea')
    verdict = verify(run, public=key.public)
    assert verdict.state is State.UNFINISHED, verdict.text()
    assert any("breaks off: it was cut, or the power failed" in note for note in verdict.notes)
    assert any("words.jsonl" in note and "no record vouches for it" in note for note in verdict.notes)
    log.write_bytes(whole + b'{"data":{')
    assert verify(run, public=key.public).state is State.UNFINISHED, "more stands there than the sealed end"
