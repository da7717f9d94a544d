"""Lines to and from a person at the terminal."""

from __future__ import annotations

__all__ = ["MOST_TRIES", "Terminal", "at_a_terminal", "print_plain"]

import sys
from typing import Final, TextIO

from alerts.errors import NotWritten
from ingest.plain_text import plain_lines

# So many wrong answers to one question end the call: nobody is reading what it says.
MOST_TRIES: Final = 20


def at_a_terminal() -> bool:
    """Whether there is a person to ask."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def print_plain(text: str = "") -> None:
    """Print lines that may hold text from people and from the wire; nothing in them is obeyed by a terminal."""
    print(plain_lines(text))


class Terminal:
    """Prints lines for a person and reads the answers. into: where questions are printed."""

    def __init__(self, into: TextIO) -> None:
        self._into = into

    def say(self, line: str) -> None:
        """Print a line."""
        print(line, file=self._into, flush=True)

    def ask(self, question: str, offered: str = "") -> str:
        """Return the answer; for an empty one, what is offered. Raises NotWritten when there are no more answers."""
        print(f"{question} [{offered}] " if offered else f"{question} ", end="", file=self._into, flush=True)
        line = sys.stdin.readline()
        if not line:
            self.say("")
            raise NotWritten("Nothing was written.")
        return line.strip() or offered

    def agree(self, question: str, *, empty_is_yes: bool = True) -> bool:
        """Whether the answer is yes."""
        for _ in range(MOST_TRIES):
            answer = self.ask(f"{question} {'[Y/n]' if empty_is_yes else '[y/N]'}").lower()
            if not answer:
                return empty_is_yes
            if answer in ("y", "yes"):
                return True
            if answer in ("n", "no"):
                return False
            self.say("y for yes, n for no")
        return False
