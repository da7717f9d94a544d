"""A refusal of the journal, as a command reports it, and the later entries that --with-later strikes."""

from __future__ import annotations

__all__ = ["WithLater", "print_refusal", "print_struck_along"]

import sys
from typing import Annotated

import typer

from ingest.errors import EntryRefused
from ingest.journal.kinds import body_words
from ingest.store import Store
from ingest.store.journal.entries import struck_along

WithLater = Annotated[
    bool, typer.Option("--with-later", help="Also strike later entries that would then be impossible.")
]


def print_refusal(error: EntryRefused, besides: str) -> None:
    """Print why the journal refuses an entry, and how --with-later would help where that is so.

    besides: what it would do besides striking later entries, as the end of a sentence.
    """
    print(error, file=sys.stderr)
    if error.later:
        numbers = ", ".join(f"no. {id}" for id in error.later)
        print(f"With --with-later {numbers} would be struck{besides}.", file=sys.stderr)


def print_struck_along(store: Store, entry_id: int, amended: int | None = None) -> None:
    """Print the entries that were struck because one was written; amended: the one in whose place it is, left out."""
    for struck in struck_along(store, entry_id):
        if struck.id != amended:
            print(f"Struck with it: {struck}, {body_words(struck.body, struck.lot)}.")
