"""Who is logged in, and the key that tokens are made with: a small file beside the store, for its owner alone.

A browser has the session's secret in a cookie; the file has only its hash. So neither a restart nor a power cut logs
anybody out, and nobody can use what the file says.
"""

from __future__ import annotations

__all__ = ["SESSION_COOKIE", "SESSION_DAYS", "Sessions", "session_file"]

import logging
import os
import secrets
from hashlib import sha256
from pathlib import Path
from threading import Lock
from typing import Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ingest.json_text import json_text

log = logging.getLogger("page")

SESSION_COOKIE: Final = "leeside-session"
SESSION_DAYS: Final = 30
_SESSION_MS: Final = SESSION_DAYS * 86_400_000
# Of those who log in once more, the sessions that end first are forgotten.
_MOST_SESSIONS: Final = 100
_LARGEST_FILE: Final = 100_000


class _Kept(BaseModel):
    """What the file holds. sessions: the hash of each secret, with the end in UTC ms; password: of which hash."""

    model_config = ConfigDict(extra="forbid")

    key: str = Field(pattern="^[0-9a-f]{64}$")
    password: str = ""
    sessions: dict[str, int] = {}


def session_file(store_path: Path) -> Path:
    """Name the file that belongs to a store."""
    return store_path.with_name(store_path.name + ".page.json")


class Sessions:
    """The sessions of one page. file: None keeps them in memory; password_hash: with another one, all sessions end.

    Trouble with the file is logged and stops nothing: sessions then end with the process.
    """

    def __init__(self, file: Path | None, password_hash: str | None) -> None:
        self._file = file
        self._lock = Lock()
        password = sha256((password_hash or "").encode()).hexdigest()
        kept = self._load()
        if kept is None or kept.password != password:
            kept = _Kept(key=secrets.token_hex(32) if kept is None else kept.key, password=password)
            self._kept = kept
            self._save()
        self._kept = kept

    @property
    def key(self) -> bytes:
        """The key of tokens."""
        return bytes.fromhex(self._kept.key)

    def begin(self, now_ms: int) -> str:
        """Begin a session, and return its secret for the cookie."""
        secret = secrets.token_urlsafe(32)
        with self._lock:
            open_ones = sorted((end, name) for name, end in self._kept.sessions.items() if end > now_ms)
            self._kept.sessions = {name: end for end, name in open_ones[1 - _MOST_SESSIONS :]}
            self._kept.sessions[_name(secret)] = now_ms + _SESSION_MS
            self._save()
        return secret

    def holds(self, secret: str, now_ms: int) -> bool:
        """Whether the secret is that of a session that goes on."""
        return bool(secret) and self._kept.sessions.get(_name(secret), 0) > now_ms

    def end(self, secret: str) -> None:
        """End a session."""
        with self._lock:
            if self._kept.sessions.pop(_name(secret), None) is not None:
                self._save()

    def _load(self) -> _Kept | None:
        if self._file is None:
            return None
        try:
            descriptor = os.open(self._file, os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW)
            with os.fdopen(descriptor, encoding="utf-8") as opened:
                os.fchmod(descriptor, 0o600)
                return _Kept.model_validate_json(opened.read(_LARGEST_FILE))
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError, ValidationError) as error:
            log.warning("%s cannot be used, so everybody has to log in again (%s)", self._file, type(error).__name__)
            return None

    def _save(self) -> None:
        if self._file is None:
            return
        part = self._file.with_name(self._file.name + ".part")
        try:
            part.unlink(missing_ok=True)
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8") as opened:
                opened.write(json_text(self._kept.model_dump()))
                opened.flush()
                os.fsync(descriptor)
            part.replace(self._file)
        except OSError as error:
            log.warning(
                "%s cannot be written (%s): everybody has to log in again after a restart", self._file, error.strerror
            )


def _name(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()
