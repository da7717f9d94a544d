"""What the cellar file only names: the hash of the page's password, and its certificate."""

from __future__ import annotations

__all__ = ["password_hash", "try_certificate"]

import ssl
from collections.abc import Mapping
from pathlib import Path

from alerts.page.doors.passwords import hash_problem
from ingest.cellar import PageSettings
from ingest.errors import IngestError


def password_hash(page: PageSettings, environ: Mapping[str, str], base: Path) -> str | None:
    """Read the hash of the password, None where the page has none. Raises IngestError."""
    text = page.password_hash(environ, base)
    problem = "" if text is None else hash_problem(text)
    if problem:
        key = "password_hash_env" if page.password_hash_env is not None else "password_hash_file"
        raise IngestError(f"[page] {key}: {problem}")
    return text


def try_certificate(certificate: Path, key: Path) -> None:
    """Read the files of a certificate as the server does. Raises IngestError that says what is wrong with them."""
    for name, file in (("certificate", certificate), ("key", key)):
        try:
            file.read_bytes()
        except OSError as error:
            raise IngestError(f"[page] {name}: {file} cannot be read: {error.strerror}") from error
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key, password="")
    except (ssl.SSLError, ValueError, OSError) as error:
        raise IngestError(
            f"[page] certificate: {certificate} and {key} are not a certificate and its key without a password, in "
            f"PEM form ({getattr(error, 'reason', None) or error})"
        ) from error
