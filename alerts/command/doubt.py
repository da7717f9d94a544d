"""What an entry makes a person doubt: shown before it is written, and what it takes to write it all the same."""

from __future__ import annotations

__all__ = ["DespiteWarnings", "may_write", "show_remarks"]

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from alerts.command.terminal import Terminal
from alerts.errors import NotWritten

DespiteWarnings = Annotated[
    bool, typer.Option("--despite-warnings", help="Write it although there are warnings; they stay with the entry.")
]


def show_remarks(terminal: Terminal, warnings: Sequence[str], notes: Sequence[str]) -> None:
    """Print warnings, then notes."""
    for warning in warnings:
        terminal.say(f"warning: {warning}")
    for note in notes:
        terminal.say(f"note: {note}")


def may_write(terminal: Terminal | None, words: str, warnings: Sequence[str], *, despite_warnings: bool) -> bool:
    """Ask whether an entry is to be written; terminal: None where there is nobody to ask.

    Under a warning only a yes in words will do, and without a terminal only --despite-warnings: False if it is missing.
    Raises NotWritten for a no.
    """
    doubtful = bool(warnings) and not despite_warnings
    if terminal is None:
        if doubtful:
            print(
                "Nothing was written: look at the warning again. If all is right, --despite-warnings writes it.",
                file=sys.stderr,
            )
        return not doubtful
    if not terminal.agree(f"{words}. Write it?", empty_is_yes=not doubtful):
        raise NotWritten("Nothing was written.")
    return True
