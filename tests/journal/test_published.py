"""The log against published documents and other people's programs."""

from __future__ import annotations

import hashlib
import io
import shutil
import subprocess
import wave
from pathlib import Path

import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.journal.anchor import code_of, read_code
from assistant.journal.audio import audio_hash, keep_audio, read_audio
from assistant.journal.captions import Cue, cues, webvtt
from assistant.journal.chain import canonical, without_hash, without_signature
from assistant.journal.keys import PUBLIC, TabletKey, signed_by, tablet_key
from assistant.journal.reader import LogReader, raw_lines
from tests.journal.conftest import make_run


def program(name: str) -> str:
    """Return the path of a program, or skip saying that it is not here."""
    found = shutil.which(name)
    if not found:
        pytest.skip(f"the program {name} is not installed")
    return found


def test_sorting_example() -> None:
    """Keys are sorted as in RFC 8785, section 3.2.3."""
    value = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    order = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]
    out = canonical(value).decode()
    assert sorted(order, key=out.index) == order


def test_string_and_literals_example() -> None:
    """Text and literals are written as in RFC 8785, sections 3.2.2 and 3.2.4."""
    value = {"string": '\u20ac$\u000f\nA\'B"\\\\"/', "literals": [None, True, False]}
    expected = bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c22737472696e67223a22"
        "e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )
    assert canonical(value) == expected


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha256_examples(message: bytes, digest: str) -> None:
    """The recordings' hash is SHA-256: the examples published by NIST with FIPS 180-4."""
    if len(message) % 2 == 0:
        assert audio_hash(np.frombuffer(message, "<i2")) == digest
    assert hashlib.sha256(message).hexdigest() == digest


@pytest.mark.parametrize(
    ("secret", "public", "message", "signature"),
    [
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
            "d25bf5f0595bbe24655141438e7a100b",
        ),
        (
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
            "387b2eaeb4302aeeb00d291612bb0c00",
        ),
    ],
)
def test_ed25519_examples(secret: str, public: str, message: str, signature: str) -> None:
    """The tablet's signature is Ed25519: RFC 8032, section 7.1, tests 1 and 2."""
    key = TabletKey(Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    assert key.public == public
    assert key.sign(message) == signature
    assert signed_by(public, message, signature)
    assert not signed_by(public, message + "00", signature)


def test_check_digits() -> None:
    """A code's check digits are ISO 7064 MOD 97-10: every single slip and swap of neighbours is found."""
    code = code_of("ab" * 32, "run").replace(" ", "")
    assert int(code) % 97 == 1
    slips = {code[:at] + digit + code[at + 1 :] for at in range(14) for digit in "0123456789"}
    slips |= {code[:at] + code[at + 1] + code[at] + code[at + 2 :] for at in range(13)}
    for slip in slips - {code}:
        with pytest.raises(Exception, match="copied wrongly"):
            read_code(slip)


def test_chain_and_signature_by_other_programs(tmp_path: Path) -> None:
    """A log is checked with sha256sum and openssl alone, from the description of the line."""
    openssl, sha256sum = program("openssl"), program("sha256sum")
    run = make_run(tmp_path / "logs", tablet_key(tmp_path / "keys"))
    checked = 0
    for entry, raw in zip(LogReader(run), raw_lines(run / "log.jsonl"), strict=True):
        body = without_hash(raw.data)
        told = subprocess.run([sha256sum], input=body, capture_output=True, check=True, timeout=20).stdout
        assert told.split()[0].decode() == entry.digest
        if not entry.signature:
            continue
        (tmp_path / "sig").write_bytes(bytes.fromhex(entry.signature))
        (tmp_path / "msg").write_bytes(hashlib.sha256(without_signature(body)).digest())
        key = str(tmp_path / "keys" / PUBLIC)
        files = ["-rawin", "-in", str(tmp_path / "msg"), "-sigfile", str(tmp_path / "sig")]
        subprocess.run(
            [openssl, "pkeyutl", "-verify", "-pubin", "-inkey", key, *files],
            check=True,
            capture_output=True,
            timeout=20,
        )
        checked += 1
    assert checked >= 4


def test_flac_by_another_program(tmp_path: Path) -> None:
    """A kept recording is bit for bit the samples, as the reference decoder of FLAC has them."""
    samples = np.random.default_rng(7).integers(-32768, 32767, 16_000, dtype=np.int16)
    digest = keep_audio(tmp_path, samples)
    path = tmp_path / "audio" / f"{digest}.flac"
    assert (read_audio(path) == samples).all()
    made = subprocess.run(
        [program("flac"), "-d", "-s", "-c", str(path)], capture_output=True, check=True, timeout=60
    ).stdout
    with wave.open(io.BytesIO(made)) as file:
        assert (file.getframerate(), file.getnchannels(), file.getsampwidth()) == (16_000, 1, 2)
        frames = file.readframes(len(samples))
    assert hashlib.sha256(frames).hexdigest() == digest


def test_webvtt_by_another_reader(run: Path, tmp_path: Path) -> None:
    """Captions are WebVTT (W3C) for another reader too, whatever was said."""
    reader = pytest.importorskip("webvtt", reason="webvtt-py is not installed")
    found = [*cues(run), Cue(99_000, 3_700_000, "driver", "a --> b & <i>c</i>\n\nd")]
    path = tmp_path / "x.vtt"
    path.write_text(webvtt(found), encoding="utf-8")
    read = reader.read(str(path))
    assert len(read) == len(found)
    for theirs, ours in zip(read, found, strict=True):
        assert theirs.voice == ours.voice
        assert theirs.start_in_seconds == pytest.approx(ours.start // 1000)
    assert read[-1].end == "01:01:40.000"
    assert "weather" in "".join(cue.text for cue in read)
