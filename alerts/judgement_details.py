"""Dataclasses as the details of a judgement, which JSON can hold, and back. Pure.

Fields may be of the types float | None, int | None, int, str, bool and tuple[str, ...]. What says nothing (None, "",
False, no texts) is left out; what is not of its field's type is left out when it is read.
"""

from __future__ import annotations

__all__ = ["details_of", "fields_in"]

from collections.abc import Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

# As many digits as anybody reads.
_DIGITS: Final = 4


def details_of(shown: DataclassInstance, most: Mapping[str, int], longest: int) -> dict[str, object]:
    """Write each field that says something. most: how many texts of each field of texts; longest: their characters.

    Details are kept in at most 4,000 characters, so numbers are given in four digits.
    """
    details: dict[str, object] = {}
    for field in fields(shown):
        value = getattr(shown, field.name)
        if isinstance(value, tuple):
            value = [text[:longest] for text in value[: most[field.name]]] or None
        elif isinstance(value, float):
            value = float(f"{value:.{_DIGITS}g}") if abs(value) < 10**_DIGITS else round(value)
        if value is not None and value != "" and value is not False:
            details[field.name] = value
    return details


def fields_in(details: Mapping[str, object], shown: type[DataclassInstance]) -> dict[str, Any]:
    """Read the fields of a dataclass, those that are there and of their type."""
    found: dict[str, Any] = {}
    for field in fields(shown):
        match field.type, details.get(field.name):
            case "float | None", (int() | float()) as number:
                found[field.name] = float(number)
            case "int | None" | "int", int() as whole:
                found[field.name] = whole
            case "str", str() as text:
                found[field.name] = text
            case "bool", True:
                found[field.name] = True
            case "tuple[str, ...]", list() as texts:
                found[field.name] = tuple(text for text in texts if isinstance(text, str))
    return found
