"""Plain numbers: one number as text, and nothing else, becomes a float.

Python's own ``float()`` takes more than an instrument should send: ``nan``, ``inf``, ``1_000`` and digits of other
scripts. So the text is held against a grammar first:

    number = *blank [ "+" / "-" ] ( 1*DIGIT [ mark *DIGIT ] / mark 1*DIGIT ) [ ( "e" / "E" ) [ "+" / "-" ] 1*DIGIT ]
             *( blank / CR / LF )
    blank  = space / tab
    mark   = "." or, where the probe is declared so, ","
"""

from __future__ import annotations

__all__ = ["MAX_NUMBER_BYTES", "parse_number"]

import re
from math import isfinite
from typing import Literal

from ingest.errors import Unreadable

# Longer than any number that a double can hold to the last digit (17 digits, sign, exponent), with room for blanks.
MAX_NUMBER_BYTES = 64

_GRAMMAR = r"[ \t]*[+-]?(?:[0-9]+(?:\{mark}[0-9]*)?|\{mark}[0-9]+)(?:[eE][+-]?[0-9]+)?[ \t\r\n]*"
_POINT = _GRAMMAR.replace("{mark}", ".")
_COMMA = _GRAMMAR.replace("{mark}", ",")

_POINT_TEXT = re.compile(_POINT)
_POINT_BYTES = re.compile(_POINT.encode())
_COMMA_TEXT = re.compile(_COMMA)
_NOT_FINITE_WORDS = frozenset({"nan", "inf", "infinity"})


def parse_number(text: str | bytes, *, decimal: Literal[".", ","] = ".") -> float:
    """Give the one finite number that the whole text is, in whatever unit the instrument sends.

    decimal: the mark before the fraction; with ``","`` a point is refused, because it could part thousands.
    At most 64 bytes. Raises Unreadable with one of the reasons ``empty``, ``too long``, ``not a number``,
    ``not finite`` (NaN, infinity, or beyond a double's range) and ``decimal comma`` (a number with a comma where
    a point is declared).
    """
    if decimal == "." and len(text) <= MAX_NUMBER_BYTES:
        # The hot path: bytes are matched and converted without being decoded.
        matched = _POINT_BYTES.fullmatch(text) if isinstance(text, bytes) else _POINT_TEXT.fullmatch(text)
        if matched is not None:
            value = float(text)
            if isfinite(value):
                return value
            raise Unreadable("not finite", _shown(text))
    return _parse_the_rest(text, decimal)


def _parse_the_rest(text: str | bytes, decimal: Literal[".", ","]) -> float:
    """Numbers with a decimal comma, and the reason why anything else is not a number."""
    if len(text) > MAX_NUMBER_BYTES:
        raise Unreadable("too long", f"{len(text)} bytes, at most {MAX_NUMBER_BYTES}")
    # Latin-1 maps each byte to one character, so nothing that is not ASCII can turn into a digit.
    plain = text.decode("latin-1") if isinstance(text, bytes) else text
    bare = plain.strip(" \t\r\n")
    if not bare:
        raise Unreadable("empty")
    if _COMMA_TEXT.fullmatch(plain) is not None:
        if decimal == "." and "," in plain:
            raise Unreadable("decimal comma", _shown(text))
        value = float(plain.replace(",", "."))
        if isfinite(value):
            return value
        raise Unreadable("not finite", _shown(text))
    if bare.lstrip("+-").lower() in _NOT_FINITE_WORDS:
        raise Unreadable("not finite", _shown(text))
    raise Unreadable("not a number", _shown(text))


def _shown(text: str | bytes) -> str:
    """The text in quotes, control characters escaped, fit for a log."""
    return repr(text.decode("latin-1") if isinstance(text, bytes) else text)
