"""Entries that happened later and would no longer be possible: they are struck with a new one, if a person agrees."""

from __future__ import annotations

__all__ = ["prepared_with_later"]

from collections.abc import Callable

from ingest.entering import Prepared
from ingest.errors import EntryRefused


def prepared_with_later(prepare: Callable[[bool], Prepared], *, with_later: bool) -> tuple[Prepared, tuple[int, ...]]:
    """Give what would be written, and the later entries that would be struck with it, where that is wished.

    prepare: makes it, with or without them. Raises EntryRefused that names them where it is not wished, and what
    ``prepare`` raises.
    """
    try:
        return prepare(False), ()
    except EntryRefused as error:
        if not error.later or not with_later:
            raise
        return prepare(True), error.later
