"""JSON payloads: decode them strictly, and find a number or a time in them.

Grammar RFC 8259, places RFC 6901 (JSON Pointer), times RFC 3339. Python's ``json`` takes more than RFC 8259: NaN and
Infinity, the same key twice (the last one wins), and it gives up with RecursionError on deep nesting. All of that is
refused here with a reason.
"""

from __future__ import annotations

__all__ = [
    "MAX_JSON_BYTES",
    "MAX_JSON_DEPTH",
    "JsonPointer",
    "decode_json",
    "number_at",
    "time_at",
]

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from typing import NoReturn

from ingest.errors import Unreadable
from ingest.times import epoch_ms, parse_rfc3339

MAX_JSON_BYTES = 64 * 1024  # no instrument's message comes near; keeps a hostile one from costing memory
MAX_JSON_DEPTH = 32  # far below the depth at which Python's own decoder gives up

_SHOWN_CHARACTERS = 60


def _shown(value: object) -> str:
    """A value in quotes, escaped and cut short, fit for a log."""
    text = repr(value)
    return text if len(text) <= _SHOWN_CHARACTERS else text[:_SHOWN_CHARACTERS] + "…"


# ---- decoding ------------------------------------------------------------------------------------------------------


def _refuse_constant(name: str) -> NoReturn:
    raise Unreadable("not JSON", f"{name} is not a JSON number (RFC 8259, section 6)")


def _object_of(pairs: list[tuple[str, object]]) -> dict[str, object]:
    members = dict(pairs)
    if len(members) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise Unreadable("duplicate key", _shown(key))
            seen.add(key)
    return members


# Built once: json.loads() with arguments builds a decoder at every call.
_decode = json.JSONDecoder(object_pairs_hook=_object_of, parse_constant=_refuse_constant).decode


def decode_json(payload: bytes) -> object:
    """Decode one JSON text in UTF-8, at most 64 KiB and 32 levels deep.

    Raises Unreadable: ``too large``, ``not UTF-8``, ``not JSON``, ``duplicate key``, ``nested too deep``.
    A number beyond a double's range decodes to infinity here; ``number_at`` and ``time_at`` refuse it.
    """
    if len(payload) > MAX_JSON_BYTES:
        raise Unreadable("too large", f"more than {MAX_JSON_BYTES} bytes")
    try:
        document: object = _decode(payload.decode())
    except UnicodeDecodeError as error:
        raise Unreadable("not UTF-8", f"byte {error.start}") from error
    except RecursionError as error:
        raise Unreadable("nested too deep", f"at most {MAX_JSON_DEPTH} levels") from error
    except ValueError as error:  # JSONDecodeError, and Python's refusal of whole numbers of more than 4300 digits
        raise Unreadable("not JSON", str(error)) from error
    if payload.count(b"[") + payload.count(b"{") > MAX_JSON_DEPTH:
        _refuse_depth(document)
    return document


def _refuse_depth(document: object) -> None:
    level = [document]
    for _ in range(MAX_JSON_DEPTH + 1):
        containers = [value for value in level if isinstance(value, dict | list)]
        if not containers:
            return
        level = [inner for value in containers for inner in (value.values() if isinstance(value, dict) else value)]
    raise Unreadable("nested too deep", f"at most {MAX_JSON_DEPTH} levels")


# ---- places --------------------------------------------------------------------------------------------------------

_BAD_ESCAPE = re.compile(r"~(?![01])")
_ARRAY_INDEX = re.compile(r"0|[1-9][0-9]*")  # RFC 6901, section 4: no leading zeros
_MAX_INDEX_DIGITS = 9  # more elements than 64 KiB can hold; int() of thousands of digits would be refused by Python


@dataclass(frozen=True, slots=True)
class JsonPointer:
    """A place in a JSON document, RFC 6901; ``text`` as written, ``tokens`` its unescaped reference tokens."""

    text: str
    tokens: tuple[str, ...]

    @classmethod
    def parse(cls, text: str) -> JsonPointer:
        """Read a pointer such as ``/gas/kPa`` or ``/probes/0``; an empty text is the whole document.

        ValueError says what is wrong and how to write it.
        """
        if text == "":
            return cls(text, ())
        if not text.startswith("/"):
            hint = text[1:] if text.startswith("#/") else "/" + text.replace(".", "/")
            raise ValueError(f"a JSON Pointer starts with '/'; for {text!r} write {hint!r} (RFC 6901)")
        bad = _BAD_ESCAPE.search(text)
        if bad is not None:
            raise ValueError(f"in {text!r} the '~' at character {bad.start() + 1} must be written '~0' (RFC 6901)")
        # RFC 6901, section 4: first ~1, then ~0, so that "~01" becomes "~1" and not "/".
        tokens = tuple(token.replace("~1", "/").replace("~0", "~") for token in text[1:].split("/"))
        return cls(text, tokens)

    def find(self, document: object) -> object:
        """Give the value at this place; raises Unreadable ``no such place in the JSON``."""
        place = document
        for token in self.tokens:
            if isinstance(place, dict):
                if token not in place:
                    raise Unreadable("no such place in the JSON", f"{self.text}: no {_shown(token)}")
                place = place[token]
            elif isinstance(place, list):
                if len(token) > _MAX_INDEX_DIGITS or _ARRAY_INDEX.fullmatch(token) is None or int(token) >= len(place):
                    raise Unreadable("no such place in the JSON", f"{self.text}: no element {_shown(token)}")
                place = place[int(token)]
            else:
                raise Unreadable("no such place in the JSON", f"{self.text}: nothing inside {_shown(place)}")
        return place

    def __str__(self) -> str:
        return self.text


def number_at(document: object, pointer: JsonPointer) -> float:
    """Return the JSON number at a place; a text, true, false or null is not a number, even if it looks like one.

    Raises Unreadable: ``no such place in the JSON``, ``not a number``, ``not finite``.
    """
    value = pointer.find(document)
    # bool is a subclass of int, so isinstance would let true through as 1.
    if type(value) is float:
        number = value
    elif type(value) is int:
        try:
            number = float(value)
        except OverflowError as error:
            raise Unreadable("not finite", f"{pointer}: a whole number beyond 1.8e308") from error
    else:
        raise Unreadable("not a number", f"{pointer}: {_shown(value)}")
    if not isfinite(number):
        raise Unreadable("not finite", f"{pointer}: beyond 1.8e308")
    return number


# ---- times ---------------------------------------------------------------------------------------------------------

_YEAR_1_MS = round(datetime.min.replace(tzinfo=UTC).timestamp()) * 1000
_YEAR_10000_MS = round(datetime(9999, 12, 31, tzinfo=UTC).timestamp()) * 1000 + 86_400_000


def time_at(document: object, pointer: JsonPointer) -> int:
    """UTC milliseconds of the time at a place: RFC 3339 text with zone, or a number (``epoch_ms``).

    Raises Unreadable: ``no such place in the JSON``, ``not a time``.
    """
    value = pointer.find(document)
    if type(value) is str:
        at_ms = parse_rfc3339(value)
    elif type(value) is int or (type(value) is float and isfinite(value)):
        at_ms = epoch_ms(value)
    else:
        raise Unreadable("not a time", f"{pointer}: {_shown(value)}")
    if not _YEAR_1_MS <= at_ms < _YEAR_10000_MS:
        raise Unreadable("not a time", f"{pointer}: {_shown(value)} is outside the years 1 to 9999")
    return at_ms
