"""What pydantic finds wrong with a value, in our words: what is allowed instead."""

from __future__ import annotations

__all__ = ["allowed_words"]

from collections.abc import Callable, Mapping
from typing import Any, Final


def _bound(number: Any) -> str:
    # As it may be typed: without marks between thousands.
    return str(number) if isinstance(number, int) else f"{number:.10g}"


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" + ("" if number == 1 else "s")


_HALF_A_CHARACTER: Final = "holds half a character, which no text can keep"

_WORDS: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = {
    "missing": lambda _: "is missing",
    "extra_forbidden": lambda _: "there is no such key",
    "greater_than": lambda context: f"must be more than {_bound(context['gt'])}",
    "greater_than_equal": lambda context: f"must be at least {_bound(context['ge'])}",
    "less_than": lambda context: f"must be less than {_bound(context['lt'])}",
    "less_than_equal": lambda context: f"must be at most {_bound(context['le'])}",
    "finite_number": lambda _: "must be a finite number",
    "int_type": lambda _: "must be a whole number without quotes",
    "int_from_float": lambda _: "must be a whole number",
    "int_parsing": lambda _: "must be a whole number",
    "int_parsing_size": lambda _: "is too large",
    "float_type": lambda _: "must be a number without quotes",
    "float_parsing": lambda _: "must be a number without quotes",
    "bool_type": lambda _: "must be true or false, without quotes",
    "bool_parsing": lambda _: "must be true or false",
    "string_type": lambda _: 'must be text in quotes, such as "..."',
    "string_unicode": lambda _: _HALF_A_CHARACTER,
    # Of text that Python wrote as JSON, nothing else can be wrong.
    "json_invalid": lambda _: _HALF_A_CHARACTER,
    "string_too_short": lambda _: "must not be empty",
    "string_too_long": lambda context: f"must have at most {_counted(context['max_length'], 'character')}",
    "tuple_type": lambda _: "must be a list",
    "list_type": lambda _: "must be a list",
    "too_short": lambda context: f"needs at least {_counted(context['min_length'], 'item')}",
    "too_long": lambda context: f"must have at most {_counted(context['max_length'], 'item')}",
    "dict_type": lambda _: "must be an object with keys",
    "model_type": lambda _: "must be an object with keys",
    "model_attributes_type": lambda _: "must be an object with keys",
}


def allowed_words(detail: Mapping[str, Any]) -> str:
    """Say what is allowed instead of a value that pydantic refused. detail: one of ``ValidationError.errors()``.

    What it has no words for is given as pydantic puts it.
    """
    kind, context = str(detail["type"]), detail.get("ctx", {})
    if kind in ("literal_error", "enum"):
        return "allowed: " + str(context["expected"]).replace("'", '"')
    if kind == "value_error":
        return str(context["error"])
    words = _WORDS.get(kind)
    return str(detail["msg"]) if words is None else words(context)
