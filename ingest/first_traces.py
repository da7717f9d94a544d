"""Which unexpected errors of a part were logged with their traceback: each is worth one, and not one each turn."""

from __future__ import annotations

__all__ = ["FirstTraces"]

from typing import Final

# Of a part that fails in so many ways the first traces say enough.
_MOST_ERRORS: Final = 50


class FirstTraces:
    """Remembers errors by what they are and where they were raised, not by their words, which may differ each time."""

    def __init__(self) -> None:
        self._known: set[tuple[type[BaseException], str, int]] = set()

    def is_new(self, error: BaseException) -> bool:
        """Whether an error was not seen before; it counts as seen from now on."""
        trace = error.__traceback__
        while trace is not None and trace.tb_next is not None:
            trace = trace.tb_next
        file, line = ("", 0) if trace is None else (trace.tb_frame.f_code.co_filename, trace.tb_lineno)
        key = (type(error), file, line)
        if key in self._known or len(self._known) >= _MOST_ERRORS:
            return False
        self._known.add(key)
        return True
