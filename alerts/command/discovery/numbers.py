"""The numbers that stand in samples which no probe takes, each with the way to it, for every payload form."""

from __future__ import annotations

__all__ = ["FoundNumber", "find_numbers"]

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final, Literal

from alerts.command.discovery.line_numbers import line_numbers
from alerts.command.discovery.quantity_guess import Guess, guess
from ingest.errors import Unreadable
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.sources.number import parse_number
from ingest.sources.senml import decode_senml

_MOST_NUMBERS: Final = 16
_TIME_WORDS: Final = re.compile(r"(?:^|_)(?:t|ts|at|time|timestamp|date|datetime|when|utc|epoch)(?:_?(?:ms|s|utc))?$")
_EARLIEST_MS: Final = 946_684_800_000  # 2000-01-01T00:00:00Z: an earlier "time" is some other number
_LATEST_MS: Final = 4_102_444_800_000  # 2100-01-01T00:00:00Z

# SenML names of units that a probe can have -> our unit; RFC 8428, section 12.1, and RFC 8798.
_SENML_UNITS: Final = {"Cel": "degC", "K": "K", "Pa": "Pa", "hPa": "hPa", "pH": "pH"}


@dataclass(frozen=True, slots=True)
class FoundNumber:
    """A number and the way to it.

    keys: what the probe's table needs besides source, quantity and unit, in order. names: what it is called, the
    nearest last. example: the number as it came. remark: what to know about it, or "".
    """

    form: Literal["plain", "json", "senml", "line", "w1"]
    keys: tuple[tuple[str, str], ...]
    names: tuple[str, ...]
    example: str
    guess: Guess
    remark: str = ""


def find_numbers(address: str, payload: bytes, now_ms: int, *, encoding: str | None = None) -> list[FoundNumber]:
    """Find the numbers in a sample.

    encoding: of a serial line's text; None for an MQTT message. now_ms: UTC ms, for times in SenML.
    """
    if encoding is not None:
        return _in_line(payload, encoding)[:_MOST_NUMBERS]
    for decimal in (".", ","):
        try:
            number = parse_number(payload, decimal=decimal)
        except Unreadable:
            continue
        names = tuple(address.split("/"))
        return [FoundNumber("plain", _decimal_key(decimal), names, payload.decode().strip(), guess(names, "", number))]
    try:
        document = decode_json(payload)
    except Unreadable:
        return []
    return _in_senml(payload, now_ms) or _in_json(address, document)


def _decimal_key(decimal: str) -> tuple[tuple[str, str], ...]:
    return (("decimal", ","),) if decimal == "," else ()


def _in_json(address: str, document: object) -> list[FoundNumber]:
    found: list[FoundNumber] = []
    leaves = [(pointer, JsonPointer.parse(pointer), value) for pointer, value in _leaves(document, "")]
    times = [pointer for pointer, parsed, _ in leaves if _is_time(document, parsed)]
    quoted = [f'{pointer} "{value}"' for pointer, _, value in leaves if isinstance(value, str) and _is_number(value)]
    for pointer, parsed, value in leaves:
        if type(value) not in (int, float) or pointer in times or len(found) == _MOST_NUMBERS:
            continue
        try:
            number = number_at(document, parsed)
        except Unreadable:
            continue  # beyond a double's range
        keys = [("payload", "json"), ("pointer", pointer)]
        # The time that stands beside the number, or beside one of the objects around it; the innermost one.
        around = [time for time in times if f"{pointer}/".startswith(f"{time.rpartition('/')[0]}/")]
        if around:
            keys.append(("time_pointer", max(around, key=lambda time: time.count("/"))))
        names = (*address.split("/"), *parsed.tokens)
        found.append(FoundNumber("json", tuple(keys), names, f"{number:g}", guess(names, "", number)))
    if found and quoted:
        remark = f"numbers in quotes are texts and are not read: {', '.join(quoted[:5])}"
        found[-1] = replace(found[-1], remark=remark)
    return found


def _leaves(value: object, pointer: str) -> Iterator[tuple[str, object]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(inner, f"{pointer}/{key.replace('~', '~0').replace('/', '~1')}")
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from _leaves(inner, f"{pointer}/{number}")
    elif pointer:
        yield pointer, value


def _is_time(document: object, pointer: JsonPointer) -> bool:
    """Whether it is called like a time and is one."""
    if not _TIME_WORDS.search(str(pointer.tokens[-1]).lower()):
        return False
    try:
        return _EARLIEST_MS <= time_at(document, pointer) < _LATEST_MS
    except Unreadable:
        return False


def _is_number(text: str) -> bool:
    try:
        parse_number(text)
    except Unreadable:
        return False
    return True


def _in_senml(payload: bytes, now_ms: int) -> list[FoundNumber]:
    try:
        records = decode_senml(payload, now_ms)
    except Unreadable:
        return []
    found: dict[str, FoundNumber] = {}
    for record in records:
        if record.value is None or record.name in found or len(found) == _MOST_NUMBERS:
            continue
        unit = _SENML_UNITS.get(record.unit or "", "")
        # The last part of a long name is what says something; the rest is often the device's number.
        names = tuple(re.split(r"[/:]", record.name))
        unknown = f'comes in the unit "{record.unit}", which no probe of leeside has'
        found[record.name] = FoundNumber(
            "senml",
            (("payload", "senml"), ("name", record.name)),
            names,
            f"{record.value:g}" + (f" {record.unit}" if record.unit else ""),
            Guess("pH") if unit == "pH" else guess(names, unit, record.value),
            unknown if record.unit and not unit else "",
        )
    return list(found.values())


def _in_line(payload: bytes, encoding: str) -> list[FoundNumber]:
    try:
        line = payload.decode(encoding)
    except UnicodeDecodeError:
        return []
    return [
        FoundNumber(
            "line",
            (("pattern", number.pattern), *_decimal_key(number.decimal)),
            tuple(name for name in (*number.labels, number.name) if name),
            number.text,
            guess([number.name], number.unit, number.value),
            "the comma is taken for the mark before the fraction" if number.decimal == "," else "",
        )
        for number in line_numbers(line)
    ]
