"""How `leeside bench` reads a number from the command line, and prints what it has worked out."""

from __future__ import annotations

__all__ = ["finite_number", "print_answer"]

from collections.abc import Mapping, Sequence

import typer

from ingest.cellar import as_meant
from ingest.errors import Unreadable
from ingest.json_text import json_text
from ingest.sources.number import parse_number


def finite_number(text: str, parameter: str) -> float:
    """Read a finite number. Raises typer.BadParameter that names the parameter."""
    try:
        return parse_number(text)
    except Unreadable as error:
        hint = as_meant(text, float) or ": write it with a decimal point and without a unit"
        raise typer.BadParameter(
            f"'{text}' is not a usable number ({error.reason}){hint}",
            param_hint=parameter,
        ) from error


def print_answer(
    text: str, result: Mapping[str, object], warnings: Sequence[str], as_json: bool, *, cautions: Sequence[str] = ()
) -> None:
    """Print the text, a line for each warning and then for each caution, or the result with its warnings as JSON.

    Warnings are about this answer, cautions about such work in general; so the warnings come first.
    """
    if as_json:
        print(json_text({**result, "warnings": list(warnings)}, indent=2))
        return
    print(text)
    for warning in warnings:
        print(f"warning: {warning}")
    for caution in cautions:
        print(f"caution: {caution}")
