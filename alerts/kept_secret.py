"""Secrets that leeside makes itself, each in a file beside the store that only leeside's user can read."""

from __future__ import annotations

__all__ = ["find_secret", "kept_secret", "secret_file"]

import os
import re
import secrets
from pathlib import Path
from typing import Final

from alerts.errors import AlertsError

# 32 bytes, twice what RFC 6819 section 5.1.4.2.2 asks of a secret that cannot be guessed (128 bits).
_BYTES: Final = 32
_FORM: Final = re.compile(r"[A-Za-z0-9_-]{43}")


def secret_file(store_path: Path, suffix: str) -> Path:
    """Name the file of a secret that belongs to a store."""
    return store_path.with_name(store_path.name + suffix)


def find_secret(file: Path) -> str:
    """Read a secret, "" where there is none."""
    try:
        secret = file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""
    return secret if _FORM.fullmatch(secret) else ""


def kept_secret(file: Path, what: str) -> str:
    """Read a secret, and make one where there is no file. what: it is, for errors.

    Raises AlertsError where the file cannot be read or written, or holds something else.
    """
    try:
        try:
            descriptor = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            secret = file.read_text(encoding="ascii").strip()
        else:
            secret = secrets.token_urlsafe(_BYTES)
            with os.fdopen(descriptor, "w", encoding="ascii") as out:
                out.write(f"{secret}\n")
    except (OSError, UnicodeDecodeError) as error:
        raise AlertsError(f"{what} cannot be kept in {file}: {error}") from error
    if not _FORM.fullmatch(secret):
        raise AlertsError(f"{file} does not hold {what}; remove it, and a new one is made")
    return secret
