"""How `leeside bench` takes a number from the command line, and how it tells what it has worked out."""

from __future__ import annotations

__all__ = ["finite_number", "tell"]

import json
from collections.abc import Mapping, Sequence

import typer


def finite_number(text: str, parameter: str) -> float:
    """A finite number, or the call's error that names the parameter."""
    from ingest.errors import Unreadable
    from ingest.sources.number import parse_number

    try:
        return parse_number(text)
    except Unreadable as error:
        raise typer.BadParameter(
            f"'{text}' is no number that can be used ({error.reason}); write it like 12.5, without a unit",
            param_hint=parameter,
        ) from error


def tell(said: str, result: Mapping[str, object], warnings: Sequence[str], as_json: bool) -> None:
    """Print an answer: as JSON with its warnings, or what is said and a line for each warning."""
    if as_json:
        print(json.dumps({**result, "warnings": list(warnings)}, indent=2, ensure_ascii=False))
        return
    print(said)
    for warning in warnings:
        print(f"warning: {warning}")
