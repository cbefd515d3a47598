"""Encryption of backups in the age format, with a public key alone (X25519, age-encryption.org/v1).

The server needs only the *recipient* (``age1…``), the public key. What it encrypts is opened with
the *identity*, which the operator keeps elsewhere. Files go through in blocks, so that memory does
not grow with them; what comes out is whole and unchanged, or an error.
"""

import hashlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

import pyrage
from pyrage import x25519

ENDING = ".age"
SECRET = "AGE-SECRET-KEY-"


class SealingError(Exception):
    """Why something cannot be encrypted or opened, and what to do."""


class Hashing(io.RawIOBase):
    """Passes bytes on, and knows their SHA-256 and number."""

    def __init__(self, file: BinaryIO):
        super().__init__()
        self._file, self._digest, self.size_bytes = file, hashlib.sha256(), 0

    @property
    def sha256(self) -> str:
        return self._digest.hexdigest()

    def readable(self) -> bool:
        return True

    def writable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        block = self._file.read(size)
        self._note(block)
        return block

    def write(self, block) -> int:
        self._note(block)
        return self._file.write(block)

    def flush(self) -> None:
        self._file.flush()

    def _note(self, block) -> None:
        self._digest.update(block)
        self.size_bytes += len(block)


def recipient(text: str) -> x25519.Recipient:
    """The public key of a setting.

    Raises
    ------
    SealingError
        When it is none.
    """
    try:
        return x25519.Recipient.from_str(text.strip())
    except pyrage.RecipientError:
        shown = "a secret key" if text.strip().startswith(SECRET) else repr(text)
        raise SealingError(
            f"BACKUP_RECIPIENT is {shown}; it must be a public key that begins with age1. "
            "`python -m studio backup_key FILE` makes a pair"
        ) from None


def folder_of(key: str) -> str:
    """A short name for what is encrypted for one recipient; ``plain`` without one."""
    return hashlib.sha256(key.encode()).hexdigest()[:16] if key else "plain"


def new_identity(passphrase: str = "") -> tuple[bytes, str]:
    """The contents of a new identity file, and the recipient that belongs to it."""
    identity = x25519.Identity.generate()
    public = str(identity.to_public())
    text = f"# public key: {public}\n{identity}\n".encode()
    return (pyrage.passphrase.encrypt(text, passphrase) if passphrase else text), public


def identities(path: Path, passphrase: str = "") -> list[x25519.Identity]:
    """The secret keys of an identity file; comments in it begin with ``#``.

    Raises
    ------
    SealingError
        When there is none that can be read.
    """
    try:
        found = path.read_bytes()
    except OSError as error:
        raise SealingError(f"the identity file {path} cannot be read: {error.strerror}") from None
    if found.startswith(b"age-encryption.org/"):
        try:
            found = pyrage.passphrase.decrypt(found, passphrase)
        except pyrage.DecryptError:
            raise SealingError(
                f"the identity file {path} is protected, and this passphrase does not open it; "
                "set BACKUP_PASSPHRASE to the one that it was made with"
            ) from None
    lines = [line.strip() for line in found.decode(errors="replace").splitlines()]
    try:
        keys = [x25519.Identity.from_str(line) for line in lines if line.startswith(SECRET)]
    except pyrage.IdentityError:
        keys = []
    if not keys:
        raise SealingError(
            f"{path} holds no identity: a line that begins with {SECRET} is missing or damaged"
        )
    return keys


def seal(source: BinaryIO, target: BinaryIO, key: str) -> None:
    """Encrypt a stream for a recipient; copy it when there is none."""
    if key:
        pyrage.encrypt_io(source, target, [recipient(key)])
        return
    while block := source.read(1 << 20):
        target.write(block)


def open_sealed(
    source: BinaryIO, target: BinaryIO, key: str, secret: Sequence[x25519.Identity]
) -> None:
    """Decrypt a stream that was encrypted for ``key``; copy it when it was not.

    Raises
    ------
    SealingError
        When none of the identities opens it, or it has changed since.
    """
    if not key:
        seal(source, target, "")
        return
    try:
        pyrage.decrypt_io(source, target, list(secret))
    except pyrage.DecryptError as error:
        if key in {str(one.to_public()) for one in secret}:
            raise SealingError(f"it has changed since it was encrypted ({error})") from None
        raise wrong_key(key) from None


def wrong_key(key: str) -> SealingError:
    return SealingError(
        f"the backup is encrypted for {key}; name the identity file that belongs to this public "
        "key with --identity FILE"
    )
