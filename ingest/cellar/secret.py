"""Passwords and tokens: read from the environment or from a file that the cellar file names, never kept."""

from __future__ import annotations

__all__ = ["read_password"]

from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from ingest.errors import IngestError


def read_password(
    table: str,
    variable: str | None,
    file: str | None,
    environ: Mapping[str, str],
    base: Path,
    *,
    what: Literal["password", "token", "url", "secret", "password_hash"] = "password",
) -> str | None:
    """Read the password that a table's ``password_env`` or ``password_file`` leads to, None if neither is given.

    what: such as ``token``, which reads ``token_env`` or ``token_file`` instead. One line break at the file's end is
    not part of it.
    Raises IngestError that says what is missing.
    """
    if variable is not None:
        if not environ.get(variable):
            raise IngestError(
                f"{table} {what}_env: the environment has no {variable}, or it is empty; "
                f"set it where leeside is started, or name a file with {what}_file"
            )
        return environ[variable]
    if file is None:
        return None
    path = base / file
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise IngestError(f"{table} {what}_file: {path} cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise IngestError(f"{table} {what}_file: {path} is not UTF-8 text") from None
    password = text.removesuffix("\n").removesuffix("\r")
    if not password or "\n" in password:
        raise IngestError(f"{table} {what}_file: {path} must hold one line, the {what.replace('_', ' ')}")
    return password
