"""A refusal of the journal, as a command reports it."""

from __future__ import annotations

__all__ = ["print_refusal"]

import sys

from ingest.errors import EntryRefused


def print_refusal(error: EntryRefused, besides: str) -> None:
    """Print why the journal refuses an entry, and how --with-later would help where that is so.

    besides: what it would do besides striking later entries, as the end of a sentence.
    """
    print(error, file=sys.stderr)
    if error.later:
        numbers = ", ".join(f"no. {id}" for id in error.later)
        print(f"With --with-later {numbers} would be struck{besides}.", file=sys.stderr)
