"""The tablet's own key: an Ed25519 pair (RFC 8032) that signs its logs.

The private half stays in the key folder (0700, file 0600). The public half may go anywhere; a trainer
needs it to check a log on another machine. Both are PEM, so that other programs can read them.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from assistant.errors import InputError, LogError
from assistant.journal.disk import Disk, trouble

PUBLIC = "tablet.pub"


class TabletKey:
    """The private half; signs hashes."""

    def __init__(self, private: Ed25519PrivateKey) -> None:
        self._private = private
        self.public = private.public_key().public_bytes_raw().hex()

    def public_pem(self) -> str:
        """Return the public half as PEM text, to be taken to the machine that checks."""
        return _public_pem(self._private).decode()

    def sign(self, digest_hex: str) -> str:
        """Return the signature, 128 hex digits, over the 32 bytes of a record's hash."""
        return self._private.sign(bytes.fromhex(digest_hex)).hex()


def tablet_key(folder: Path, disk: Disk | None = None) -> TabletKey:
    """Return the key of this tablet, made in ``folder`` the first time; LogError when it cannot be."""
    return signing_key(folder, "tablet", disk)


def signing_key(folder: Path, whose: str, disk: Disk | None = None) -> TabletKey:
    """As `tablet_key`, for the tablet or for a trainer, who signs notes: ``whose`` names the files."""
    disk = disk or Disk()
    path = folder / f"{whose}.key"
    try:
        if not path.exists():
            _make(folder, whose, disk)
        private = load_pem_private_key(path.read_bytes(), None)
    except OSError as error:
        raise trouble(f"read or make the {whose}'s key", path, error) from error
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise LogError(f"{path} holds no key: put the {whose}'s key back or remove the file.") from error
    if not isinstance(private, Ed25519PrivateKey):
        raise LogError(f"{path} is another kind of key: put the {whose}'s own key back.")
    return TabletKey(private)


def _make(folder: Path, whose: str, disk: Disk) -> None:
    private = Ed25519PrivateKey.generate()
    disk.make_folder(folder)
    disk.save(folder / f"{whose}.pub", _public_pem(private))
    disk.save(
        folder / f"{whose}.key",
        private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()),
    )


def _public_pem(private: Ed25519PrivateKey) -> bytes:
    return private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)


def read_public(path: Path) -> str:
    """Return a public key file's key as 64 hex digits; InputError when it is none."""
    try:
        public = load_pem_public_key(path.read_bytes())
    except OSError as error:
        raise InputError(f"Cannot read the key {path}: {error.strerror}.") from error
    except (ValueError, UnsupportedAlgorithm) as error:
        raise InputError(f"{path} is no public key: name the tablet's file {PUBLIC}.") from error
    if not isinstance(public, Ed25519PublicKey):
        raise InputError(f"{path} is another kind of key: name the tablet's file {PUBLIC}.")
    return public.public_bytes_raw().hex()


def signed_by(public_hex: str, digest_hex: str, signature_hex: str) -> bool:
    """Return whether the signature over the hash was made with the private half of ``public_hex``."""
    try:
        _public(public_hex).verify(bytes.fromhex(signature_hex), bytes.fromhex(digest_hex))
    except (InvalidSignature, ValueError):
        return False
    return True


@lru_cache(maxsize=256)  # a fleet's logs come from some dozens of tablets again and again
def _public(public_hex: str) -> Ed25519PublicKey:
    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_hex))


def fingerprint(public_hex: str) -> str:
    """Return the key's name for people: 16 hex digits in fours, of the SHA-256 of its 32 bytes."""
    digest = hashlib.sha256(bytes.fromhex(public_hex)).hexdigest()
    return " ".join(digest[at : at + 4] for at in range(0, 16, 4))
