"""One table as read: its keys as written, its model, and what is wrong in it, in words for the reader of the file."""

from __future__ import annotations

__all__ = ["TableEntry", "WrittenTable", "as_written", "known_keys", "nearest", "read_entry", "suggestion"]

import difflib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Final, Generic, TypeVar

from pydantic import ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from ingest.cellar.form import Table
from ingest.errors import Problem
from ingest.validation_words import allowed_words

_M = TypeVar("_M", bound=Table)

_LONGEST_SHOWN: Final = 80
_SECRET_PARTS: Final = ("pass", "secret", "token", "pwd")
_NO_SECRET: Final = tuple(f"{what}_{where}" for what in ("password", "token", "secret") for where in ("env", "file"))
# User and password in an address, which nobody should write there.
_SIGN_IN: Final = re.compile(r"//[^/\s]*@")
# What may hold a secret in a key that names a server: all before an @, after a ? or #, and in a host after a slash.
_OF_SERVERS: Final = {
    "host": re.compile(r'(?<=")[^"]*@|[?#/][^"]*'),
    "url": re.compile(r'(?<=")[^"]*@|[?#][^"]*'),
    "device": re.compile(r'(?<=")[^"]*@|[?#][^"]*'),
}
# Tables whose addresses are as good as a password: who knows one can send to it.
_PRIVATE_URLS: Final = "[[channel]]"
_PATH: Final = re.compile(r'([A-Za-z0-9+.-]+)://([^/"?#]*)[^"]*')
_ADVICE_ON_SECRETS: Final = (
    "a {0} does not belong in the cellar file; name an environment variable with {0}_env, "
    "or a file that only leeside can read with {0}_file"
)


@dataclass(frozen=True, slots=True)
class WrittenTable:
    """One table as it stands in the file, also if it cannot be read: its label for messages, and its keys."""

    label: str
    raw: Mapping[str, object]

    def problem(self, key: str, allowed: str) -> Problem:
        """Make a problem of this table's key, with the value as it was written."""
        text = as_written(key, self.raw[key]) if key in self.raw else ""
        if key.startswith("url") and self.label.startswith(_PRIVATE_URLS):
            text = _PATH.sub(_without_path, text)
        return Problem(self.label, key, text, allowed)


@dataclass(frozen=True, slots=True)
class TableEntry(WrittenTable, Generic[_M]):
    """One table that could be read."""

    model: _M


def known_keys(model: type[Table]) -> dict[str, FieldInfo]:
    """List the keys that may stand in a table, as written in the file."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


def nearest(word: str, names: Iterable[str]) -> str:
    """Find the name that looks most like a word, or "" if none does."""
    by_case = {name.lower(): name for name in names}
    near = difflib.get_close_matches(word.lower(), by_case, n=1, cutoff=0.6)
    return by_case[near[0]] if near else ""


def suggestion(word: str, names: Iterable[str], otherwise: str) -> str:
    """Suggest the name that was probably meant, else list all names after ``otherwise``."""
    names = list(names)
    near = nearest(word, names)
    return f'did you mean "{near}"?' if near else f"{otherwise}: {', '.join(names) or 'none'}"


def as_written(key: str, value: object) -> str:
    """Write a value as in TOML, shortened; what could be a secret is left out."""
    if any(part in key.lower() for part in _SECRET_PARTS) and key not in _NO_SECRET:
        return ""
    if isinstance(value, datetime | date | time):
        text = value.isoformat()
    elif isinstance(value, Mapping):
        text = "{...}"
    else:
        text = json.dumps(value, ensure_ascii=False, default=str)
    text = _SIGN_IN.sub("//...@", text)
    if key in _OF_SERVERS and not isinstance(value, Mapping):
        text = _OF_SERVERS[key].sub(_without_secret, text)
    return text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 3] + "..."


def _without_path(match: re.Match[str]) -> str:
    return f"{match[1]}://{match[2]}/..." if match[1].lower() in ("http", "https") else f"{match[1]}://..."


def _without_secret(match: re.Match[str]) -> str:
    found = match[0]
    if not found.endswith("@"):
        return f"{found[0]}..."
    scheme, mark, _ = found.rpartition("//")
    return f"{scheme}{mark}...@" if mark and "@" not in scheme else "...@"


def read_entry(model: type[_M], written: WrittenTable) -> tuple[TableEntry[_M] | None, list[Problem]]:
    """Read one table as a model, or find every problem that its keys have."""
    label, raw = written.label, written.raw
    try:
        return TableEntry(label, raw, model.model_validate(raw)), []
    except ValidationError as error:
        details = error.errors(include_url=False, include_input=False)
    keys = known_keys(model)
    wrong = [(str(detail["loc"][0]) if detail["loc"] else "", detail) for detail in details]
    return None, [written.problem(key, _allowed(keys, key, detail, raw)) for key, detail in wrong]


def _allowed(keys: Mapping[str, FieldInfo], key: str, detail: ErrorDetails, raw: Mapping[str, object]) -> str:
    """Say what is wrong and what would be right, from what pydantic says."""
    kind = detail["type"]
    if kind == "extra_forbidden":
        return _unknown(key, keys)
    words, described = allowed_words(detail), keys[key].description if key in keys else None
    if kind in ("missing", "string_too_short", "too_short") and described:
        return f"{'is missing' if kind == 'missing' else 'must not be empty'}: {described}"
    if kind == "literal_error":
        if key == "hours":
            return f'{words}; which hours are waking ones is said once, in [site]: waking = "07:00-22:00"'
        value = raw.get(key)
        near = nearest(value, words.split('"')[1::2]) if isinstance(value, str) else ""
        return f'{words}; did you mean "{near}"?' if near else words
    return f'{words}, such as ["..."]' if kind == "tuple_type" else words


def _unknown(key: str, keys: Mapping[str, FieldInfo]) -> str:
    if key.lower() in ("password", "passwd", "pass") and "password_env" in keys:
        return _ADVICE_ON_SECRETS.format("password")
    if "token" in key.lower() and key not in keys and "token_env" in keys:
        return _ADVICE_ON_SECRETS.format("token")
    if key.lower() == "secret" and "secret_env" in keys:
        return _ADVICE_ON_SECRETS.format("secret")
    return f"there is no such key; {suggestion(key, keys, 'known keys')}"
