"""A span of time as an option of a command."""

from __future__ import annotations

__all__ = ["span_s"]

import re
from typing import Final

import typer

_SPAN: Final = re.compile(r"(\d+(?:\.\d+)?)\s*(s|min|h)")
_SECONDS: Final = {"s": 1.0, "min": 60.0, "h": 3600.0}


def span_s(text: str) -> float:
    """A span such as 90s, 5min or 1h, in seconds. Raises typer.BadParameter."""
    found = _SPAN.fullmatch(text.strip())
    if found is None or float(found[1]) <= 0:
        raise typer.BadParameter(f"'{text}' is no span; write such as 90s, 5min or 1h", param_hint="--for")
    return float(found[1]) * _SECONDS[found[2]]
