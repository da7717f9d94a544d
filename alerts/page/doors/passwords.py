"""The password of the page: what may be one, its hash, and whether a password is the one.

Argon2id (RFC 9106) with the parameters of OWASP's Password Storage Cheat Sheet: 19 MiB, two passes, one lane. A small
board takes a fraction of a second for it, and has the memory.
"""

from __future__ import annotations

__all__ = ["LONGEST", "SHORTEST", "hash_of", "hash_problem", "is_password", "password_problem"]

import unicodedata
from typing import Final

from argon2 import PasswordHasher, Type, extract_parameters
from argon2.exceptions import InvalidHashError, VerificationError

# NIST SP 800-63B-4, section 3.1.1.2, for a password that stands alone.
SHORTEST: Final = 15
LONGEST: Final = 256

_HASHER: Final = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1, type=Type.ID)
# A hash that costs more than this per log-in would be a way to stop a small board.
_MOST_MEMORY_KIB: Final = 128 * 1024
_MOST_PASSES: Final = 10
_MOST_LANES: Final = 8


def password_problem(password: str) -> str:
    """Say what is wrong with a new password; "" where nothing is."""
    if len(password) < SHORTEST:
        return f"it has {len(password)} characters; at least {SHORTEST} are needed. Four or five words are easy to type"
    if len(password) > LONGEST:
        return f"it has {len(password)} characters; at most {LONGEST} are allowed"
    if not all(letter.isprintable() for letter in password):
        return "it holds a control character"
    if len(set(password)) < 5:
        return "it consists of fewer than five different characters"
    return ""


def hash_of(password: str) -> str:
    """Make the text that the password can be compared with, and that does not give it away."""
    return _HASHER.hash(_as_meant(password))


def hash_problem(text: str) -> str:
    """Say why a text is not a hash that the page can work with; "" where it is."""
    try:
        costs = extract_parameters(text)
    except InvalidHashError:
        return "it is not a hash of Argon2; `leeside page --password` makes one"
    if costs.type is not Type.ID:
        return "it is not a hash of Argon2id; `leeside page --password` makes one"
    if costs.memory_cost > _MOST_MEMORY_KIB or costs.time_cost > _MOST_PASSES or costs.parallelism > _MOST_LANES:
        return (
            f"it takes more work than the page would do for each log-in, at most {_MOST_MEMORY_KIB // 1024} MiB in "
            f"{_MOST_PASSES} passes and {_MOST_LANES} lanes; `leeside page --password` makes a lighter one"
        )
    return ""


def is_password(hash_text: str, password: str) -> bool:
    """Whether the hash was made of the password. It takes the same work whatever the password is."""
    try:
        return _HASHER.verify(hash_text, _as_meant(password[: LONGEST + 1]))
    except (VerificationError, InvalidHashError):
        return False


def _as_meant(password: str) -> str:
    # Keyboards write the same letter in several ways: RFC 8265, section 4.2.
    return unicodedata.normalize("NFC", password)
