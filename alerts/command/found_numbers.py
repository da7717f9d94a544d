"""The numbers that stand in samples nobody takes, each with the way to it, for every payload form."""

from __future__ import annotations

__all__ = ["FoundNumber", "find_numbers", "line_shape"]

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from alerts.command.guess import Guess, guess
from ingest.errors import Unreadable
from ingest.sources.json_form import JsonPointer, decode_json, number_at, time_at
from ingest.sources.number import parse_number
from ingest.sources.senml import decode_senml
from ingest.times import EARLIEST_MS

_MOST_NUMBERS: Final = 16
_TIME_WORDS: Final = re.compile(r"(?:^|_)(?:t|ts|at|time|timestamp|date|datetime|when|utc|epoch)(?:_?(?:ms|s|utc))?$")
_LATEST_MS: Final = 4_102_444_800_000  # 2100-01-01T00:00:00Z

# SenML names of units that a probe can have -> our unit; RFC 8428, section 12.1, and RFC 8798.
_SENML_UNITS: Final = {"Cel": "degC", "K": "K", "Pa": "Pa", "hPa": "hPa", "pH": "pH"}

# A number in a line of text: not the tail of a name such as K1, no part of a time of day.
_POINT_NUMBER: Final = re.compile(
    r"(?<![A-Za-z0-9_.:])[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][-+]?[0-9]+)?(?![0-9:])"
)
_WITH_COMMA: Final = re.compile(r"(?<![A-Za-z0-9_.,:])[-+]?[0-9]+,[0-9]+(?![0-9:,.])")
_COMMA_NUMBER: Final = re.compile(r"(?<![A-Za-z0-9_.,:])[-+]?[0-9]+(?:,[0-9]+)?(?![0-9:,])")
_CLOCK: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?")
_BLANKS: Final = re.compile(r"[ \t]+")
_UNIT_BEHIND: Final = re.compile(r"[ \t]*(°?[A-Za-z]+)(?![A-Za-z0-9=:])")


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


@dataclass(slots=True)
class _Places:
    numbers: list[tuple[str, float]] = field(default_factory=list)
    times: list[str] = field(default_factory=list)
    quoted: list[tuple[str, str]] = field(default_factory=list)


def find_numbers(
    address: str, payloads: Sequence[bytes], now_ms: int, *, encoding: str | None = None
) -> list[FoundNumber]:
    """The numbers in the samples of one address, the newest sample last; [] where there is none.

    encoding: of a serial line's text; None for an MQTT message. now_ms: UTC ms, for times in SenML.
    """
    if encoding is not None:
        return _in_line(payloads, encoding)
    newest = payloads[-1]
    for decimal in (".", ","):
        try:
            number = parse_number(newest, decimal=decimal)
        except Unreadable:
            continue
        keys = (("decimal", ","),) if decimal == "," else ()
        names = tuple(address.split("/"))
        return [FoundNumber("plain", keys, names, newest.decode().strip(), guess(_tail(names), "", number))]
    try:
        document = decode_json(newest)
    except Unreadable:
        return []
    return _in_senml(newest, now_ms) or _in_json(address, document)


# ---- JSON and SenML ------------------------------------------------------------------------------------------------


def _in_json(address: str, document: object) -> list[FoundNumber]:
    places = _Places()
    for pointer, value in _leaves(document, ""):
        key = pointer.rpartition("/")[2]
        parsed = JsonPointer.parse(pointer)
        if _TIME_WORDS.search(key.lower()) and _is_time(document, parsed):
            places.times.append(pointer)
        elif type(value) in (int, float):
            try:
                places.numbers.append((pointer, number_at(document, parsed)))
            except Unreadable:
                continue  # beyond a double's range
        elif type(value) is str and _is_number(value):
            places.quoted.append((pointer, value))
    found = []
    for pointer, number in places.numbers[:_MOST_NUMBERS]:
        keys = [("payload", "json"), ("pointer", pointer)]
        time_pointer = _nearest(pointer, places.times)
        if time_pointer is not None:
            keys.append(("time_pointer", time_pointer))
        names = (*address.split("/"), *JsonPointer.parse(pointer).tokens)
        found.append(FoundNumber("json", tuple(keys), names, f"{number:g}", guess(_tail(names), "", number)))
    if found and places.quoted:
        told = ", ".join(f'{pointer} "{value}"' for pointer, value in places.quoted[:5])
        found[-1] = replace(found[-1], remark=f"numbers in quotes are texts and are not read: {told}")
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
    try:
        return EARLIEST_MS <= time_at(document, pointer) < _LATEST_MS
    except Unreadable:
        return False


def _is_number(text: str) -> bool:
    try:
        parse_number(text)
    except Unreadable:
        return False
    return True


def _nearest(pointer: str, times: Sequence[str]) -> str | None:
    """The time that stands beside the number, or beside one of the objects around it; the innermost one."""
    around = [time for time in times if f"{pointer}/".startswith(f"{time.rpartition('/')[0]}/")]
    return max(around, key=lambda time: time.count("/"), default=None)


def _in_senml(payload: bytes, now_ms: int) -> list[FoundNumber]:
    try:
        records = decode_senml(payload, now_ms)
    except Unreadable:
        return []
    found: dict[str, FoundNumber] = {}
    for record in records:
        if record.value is None or record.name in found or len(found) >= _MOST_NUMBERS:
            continue
        unit = _SENML_UNITS.get(record.unit or "")
        # The last part of a long name is what says something; the rest is often the device's number.
        names = tuple(re.split(r"[/:]", record.name))
        remark = "" if unit or not record.unit else f'comes in the unit "{record.unit}", which no probe of leeside has'
        found[record.name] = FoundNumber(
            "senml",
            (("payload", "senml"), ("name", record.name)),
            names,
            f"{record.value:g}" + (f" {record.unit}" if record.unit else ""),
            _with_unit(guess(_tail(names), unit or "", record.value), unit),
            remark,
        )
    return list(found.values())


def _with_unit(guessed: Guess, unit: str | None) -> Guess:
    if unit == "pH":
        return Guess("pH")
    if unit == "Pa" and guessed.quantity == "pressure":
        return Guess(None, "Pa", "pressure")  # the blanket's or the air's: Pa is used for both
    return guessed


# ---- lines of text ---------------------------------------------------------------------------------------------------


def _numbers_of(line: str) -> tuple[list[re.Match[str]], Literal[".", ","]]:
    """The numbers in a line and the mark before their fraction; a comma between digits may only part columns."""
    clocks = [clock.span() for clock in _CLOCK.finditer(line)]

    def outside_clocks(pattern: re.Pattern[str]) -> list[re.Match[str]]:
        return [n for n in pattern.finditer(line) if not any(start <= n.start() < end for start, end in clocks)]

    numbers = outside_clocks(_POINT_NUMBER)
    if outside_clocks(_WITH_COMMA) and not any("." in number[0] for number in numbers):
        return outside_clocks(_COMMA_NUMBER), ","
    return numbers, "."


def line_shape(payload: bytes, encoding: str) -> str:
    """What lines of one kind have in common: the line as a pattern with every number left open; "" if it is no text."""
    try:
        line = payload.decode(encoding)
    except UnicodeDecodeError:
        return ""
    numbers, decimal = _numbers_of(line)
    return _pattern(line, numbers, decimal, None)


def _in_line(payloads: Sequence[bytes], encoding: str) -> list[FoundNumber]:
    found: list[FoundNumber] = []
    shapes: set[str] = set()
    for payload in reversed(payloads):
        shape = line_shape(payload, encoding)
        if not shape or shape in shapes:
            continue
        shapes.add(shape)
        found += _in_one_line(payload.decode(encoding))
    return found[:_MOST_NUMBERS]


def _in_one_line(line: str) -> list[FoundNumber]:
    numbers, decimal = _numbers_of(line)
    found = []
    for number in numbers[:_MOST_NUMBERS]:
        pattern = _pattern(line, numbers, decimal, number)
        matched = re.fullmatch(pattern, line)
        if matched is None or matched["value"] != number[0]:
            continue
        try:
            value = parse_number(number[0], decimal=decimal)
        except Unreadable:
            continue
        behind = _UNIT_BEHIND.match(line, number.end())
        before = re.split(r"[;|\t,]", line[: number.start()])[-1]
        name = re.sub(r"[^A-Za-z0-9°]+$", "", before).split(" ")[-1]
        keys = [("pattern", pattern)] + ([("decimal", ",")] if decimal == "," else [])
        names = tuple(part for part in (*re.findall(r"[A-Za-z]+[0-9]+", line[: number.start()]), name) if part)
        remark = "the comma is taken for the mark before the fraction" if decimal == "," else ""
        unit_text = behind[1] if behind else ""
        found.append(FoundNumber("line", tuple(keys), names, number[0], guess([name], unit_text, value), remark))
    return found


def _pattern(
    line: str, numbers: Sequence[re.Match[str]], decimal: Literal[".", ","], wanted: re.Match[str] | None
) -> str:
    """A regular expression for the whole line; ``wanted`` becomes the group ``value``."""
    figures = "[-+0-9.eE]+" if any("e" in n[0].lower() for n in numbers) else "[-+0-9.]+"
    figures = figures.replace(".", ",") if decimal == "," else figures
    pieces, place = [], 0
    for number in numbers:
        pieces.append(_literal(line[place : number.start()], before_number=True, after_number=place > 0))
        pieces.append(f"(?P<value>{figures})" if number is wanted else figures)
        place = number.end()
    pieces.append(_literal(line[place:], before_number=False, after_number=bool(numbers)))
    return "".join(pieces)


def _literal(text: str, *, before_number: bool, after_number: bool) -> str:
    """Text that stays as it is, but for times of day and the blanks by which columns are padded."""
    pieces, place = [], 0
    for match in re.finditer(f"{_CLOCK.pattern}|{_BLANKS.pattern}", text):
        pieces.append(re.escape(text[place : match.start()]))
        first, last = match.start() == 0, match.end() == len(text)
        if not _BLANKS.fullmatch(match[0]):
            pieces.append("[0-9:.-]+")
        elif first and last and before_number and after_number:
            # Between two numbers some must stay, or the one would run into the other.
            pieces.append(r"[ \t]+" if "\t" in match[0] else " +")
        elif first or last:
            # Beside a number, or at an end of the line: as many as the column needs.
            pieces.append(r"[ \t]*" if "\t" in match[0] else " *")
        else:
            pieces.append(match[0] if len(match[0]) == 1 else r"[ \t]+")
        place = match.end()
    pieces.append(re.escape(text[place:]))
    # re.escape also escapes what needs none here; a pattern is for people to read.
    plain = re.sub(r"\\([ =:;,/%#&~<>@!\"'_°-])", r"\1", "".join(pieces))
    return plain.replace("\t", r"\t")


def _tail(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(names[-3:])
