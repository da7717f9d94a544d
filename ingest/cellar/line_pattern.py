"""The pattern of a serial line's text: which lines a probe takes, and where in them its number stands.

Lines come from outside, as long and as odd as a broken instrument makes them, and a pattern is what its owner wrote.
RE2 matches in time that grows with the length of the line alone, whatever the pattern, so no pair of the two can hold
up the daemon. It lacks what makes other engines slow: parts that look ahead or back, or repeat an earlier part.
"""

from __future__ import annotations

__all__ = ["LinePattern"]

from collections.abc import Mapping
from typing import Any, Final

import re2

_OPTIONS: Final = re2.Options()
# What is wrong is raised; it is not also written to standard error.
_OPTIONS.log_errors = False

# How RE2 begins what it says of constructs that it does not have.
_NOT_IN_RE2: Final = ("invalid perl operator", "invalid escape sequence", "invalid named capture group")
_LONGEST: Final = 1000  # characters; no line's pattern comes near


class LinePattern:
    """A pattern that takes whole lines, in the syntax of RE2, with groups ``value`` and perhaps ``supply``."""

    def __init__(self, text: str) -> None:
        """Read a pattern; ValueError says what is wrong and how it is written."""
        if len(text) > _LONGEST:
            raise ValueError(f"has {len(text)} characters; at most {_LONGEST} are allowed")
        try:
            self._compiled: Any = re2.compile(text, _OPTIONS)
        except (re2.error, UnicodeEncodeError) as error:
            raise ValueError(_problem(error)) from error
        self.text = text

    @property
    def groups(self) -> frozenset[str]:
        """The names of the pattern's groups."""
        return frozenset(self._compiled.groupindex)

    def match(self, line: str) -> Mapping[str, str | None] | None:
        """Match the whole of a line: group name -> what stands there, None for a group that took no part; or None."""
        found = self._compiled.fullmatch(line)
        return None if found is None else found.groupdict()

    @property
    def takes_nothing(self) -> bool:
        """Whether some part of an empty line is enough for it."""
        return self._compiled.search("") is not None


def _problem(error: Exception) -> str:
    said = error.args[0] if error.args else ""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    if text.startswith(_NOT_IN_RE2):
        return (
            f"is not a regular expression that leeside takes ({text}): no part may look ahead or back ((?=...), "
            "(?!...), (?<=...)) or repeat an earlier one (\\1), for those can take for ever; write what the line looks "
            "like"
        )
    return f"is not a regular expression: {text}"
