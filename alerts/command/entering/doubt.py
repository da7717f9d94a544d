"""What an entry makes a person doubt: shown before it is written, and what it takes to write it all the same."""

from __future__ import annotations

__all__ = ["DespiteWarnings", "may_write", "show_remarks", "yes_or_when"]

import sys
from collections.abc import Callable, Sequence
from typing import Annotated

import typer

from alerts.command.terminal import MOST_TRIES, Terminal
from alerts.errors import NotWritten
from ingest.errors import IngestError
from ingest.times import Ambiguous

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
    if terminal is None:
        if warnings and not despite_warnings:
            print(
                "Nothing was written: look at the warning again. If all is right, --despite-warnings writes it.",
                file=sys.stderr,
            )
            return False
        return True
    if not terminal.agree(f"{words}. Write it?", empty_is_yes=despite_warnings or not warnings):
        raise NotWritten("Nothing was written.")
    return True


def yes_or_when(
    terminal: Terminal, words: str, warnings: Sequence[str], moment_of: Callable[[str], int], *, despite_warnings: bool
) -> str:
    """Ask whether an entry is to be written as of now, or when it happened.

    Returns "" for a yes, or that time as it was answered. moment_of: reads such a time, raises IngestError for what is
    not one. Raises NotWritten for a no.
    """
    empty_is_yes = despite_warnings or not warnings
    choices = "[Y/n]" if empty_is_yes else "[y/N]"
    question = f"{words}. Write it? {choices} (or say when it was: 18:30, yesterday 18:30)"
    for _ in range(MOST_TRIES):
        answer = terminal.ask(question)
        if answer.lower() in ("y", "yes") or (not answer and empty_is_yes):
            return ""
        if answer.lower() in ("", "n", "no"):
            break
        try:
            moment_of(answer)
        except Ambiguous:
            return answer  # which of the two is asked next
        except IngestError as error:
            terminal.say(str(error))
            continue
        return answer
    raise NotWritten("Nothing was written.")
