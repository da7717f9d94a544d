"""The numbers in a line of text, each with a pattern that takes the whole line and no other kind of line."""

from __future__ import annotations

__all__ = ["LineNumber", "line_numbers", "line_shape"]

import re
from collections.abc import Sequence
from typing import Final, Literal, NamedTuple

from ingest.errors import Unreadable
from ingest.sources.number import parse_number


class LineNumber(NamedTuple):
    """text: the number as it stands in the line; pattern: a regular expression with the group ``value``; decimal: the
    mark before the fraction; labels: words with a figure, such as K1, anywhere before it; name: the word just before it
    in its column, or ""; unit: the word behind it, or ""."""

    text: str
    value: float
    pattern: str
    decimal: Literal[".", ","]
    labels: tuple[str, ...]
    name: str
    unit: str


# A time of day or a date; a number that is neither the tail of a name such as K1 nor a part of a time.
_CLOCK: Final = r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?"
_POINT_NUMBER: Final = r"(?<![A-Za-z0-9_.:])[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?(?![0-9:])"
_COMMA_NUMBER: Final = r"(?<![A-Za-z0-9_.,:])[-+]?[0-9]+(?:,[0-9]+)?(?![0-9:,])"
_POINT_TOKEN, _COMMA_TOKEN = (
    re.compile(rf"(?P<clock>{_CLOCK})|(?P<number>{number})|(?P<blank>[ \t]+)|(?P<text>.)", re.DOTALL)
    for number in (_POINT_NUMBER, _COMMA_NUMBER)
)
_SPECIAL: Final = re.compile(r"[\\.^$*+?{}\[\]|()]")
_UNIT_BEHIND: Final = re.compile(r"[ \t]*(°?[A-Za-z]+)(?![A-Za-z0-9=:])")

_Tokens = Sequence[re.Match[str]]


def line_shape(payload: bytes, encoding: str) -> str:
    """Return what lines of one kind have in common: a pattern with every number left open; "" if it is not text."""
    try:
        tokens, decimal = _tokens(payload.decode(encoding))
    except UnicodeDecodeError:
        return ""
    return _pattern(tokens, decimal, None)


def line_numbers(line: str) -> list[LineNumber]:
    """Return the numbers of a line that a pattern can pick out."""
    tokens, decimal = _tokens(line)
    numbers = []
    for token in tokens:
        if token.lastgroup != "number":
            continue
        pattern = _pattern(tokens, decimal, token)
        match = re.fullmatch(pattern, line)
        if match is None or match["value"] != token[0]:
            continue  # it runs into its neighbour
        try:
            value = parse_number(token[0], decimal=decimal)
        except Unreadable:
            continue
        before = line[: token.start()]
        column = re.split(r"[;|\t,]", before)[-1]
        name = re.sub(r"[^A-Za-z0-9°]+$", "", column).split(" ")[-1]
        labels = tuple(re.findall(r"[A-Za-z]+[0-9]+", before))
        unit = _UNIT_BEHIND.match(line, token.end())
        numbers.append(LineNumber(token[0], value, pattern, decimal, labels, name, unit[1] if unit else ""))
    return numbers


def _tokens(line: str) -> tuple[_Tokens, Literal[".", ","]]:
    """Cut a line into clocks, numbers, blanks and single characters; a comma between digits may only part columns."""
    by_point = list(_POINT_TOKEN.finditer(line))
    if not any("." in token[0] for token in by_point if token.lastgroup == "number"):
        by_comma = list(_COMMA_TOKEN.finditer(line))
        if any("," in token[0] for token in by_comma if token.lastgroup == "number"):
            return by_comma, ","
    return by_point, "."


def _pattern(tokens: _Tokens, decimal: str, wanted: re.Match[str] | None) -> str:
    """Return a regular expression for the whole line; the number ``wanted`` becomes the group ``value``."""
    exponent = any(token.lastgroup == "number" and "e" in token[0].lower() for token in tokens)
    figures = f"[-+0-9{decimal}{'eE' if exponent else ''}]+"
    pieces = []
    for place, token in enumerate(tokens):
        match token.lastgroup:
            case "number":
                pieces.append(f"(?P<value>{figures})" if token is wanted else figures)
            case "clock":
                pieces.append("[0-9:.-]+")
            case "blank":
                before = tokens[place - 1].lastgroup if place else None
                behind = tokens[place + 1].lastgroup if place + 1 < len(tokens) else None
                pieces.append(_blank_pattern(token[0], before, behind))
            case _:
                pieces.append(_SPECIAL.sub(r"\\\g<0>", token[0]))
    return "".join(pieces)


def _blank_pattern(blank: str, before: str | None, behind: str | None) -> str:
    """Return a pattern for blanks by which columns may be padded. before, behind: kinds of token, None at an end."""
    any_blank = r"[ \t]" if "\t" in blank else " "
    if before == behind == "number":
        return f"{any_blank}+"  # without any the one would run into the other
    if {before, behind} & {"number", None}:
        return f"{any_blank}*"  # as many as the column needs
    if len(blank) == 1:
        return r"\t" if blank == "\t" else " "
    return r"[ \t]+"
