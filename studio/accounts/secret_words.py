"""Secrets that are told once: only their SHA-256 is kept.

A secret of 112 random bits or more needs no slow hash: nobody can try them all (OWASP ASVS 5.0.0,
6.5.2).
"""

import hashlib
import secrets

SECRET_BYTES = 32  # 256 bits, for links
# Digits and letters without I, L, O and U, which are misread (Crockford's base 32).
CODE_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_LENGTH = 24  # 120 bits
SHORT_CODE_LENGTH = 14  # with its two hyphens; 60 bits
MISREAD = str.maketrans("OIL", "011")


def new_secret() -> str:
    return secrets.token_urlsafe(SECRET_BYTES)


def new_code() -> str:
    """A code to be printed and typed: six groups of four."""
    code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
    return "-".join(code[at : at + 4] for at in range(0, CODE_LENGTH, 4))


def new_short_code() -> str:
    """A code that a child types to log in: three groups of four, 60 bits.

    Kept as passwords are, slowly hashed, and tried under the same limits as they.
    """
    return new_code()[:SHORT_CODE_LENGTH]


def as_typed(code: str) -> str:
    """A code as it was meant: case, spaces and hyphens do not count, nor what is easily misread."""
    letters = "".join(letter for letter in code.upper() if letter.isalnum())
    return letters.translate(MISREAD)


def hashed(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
