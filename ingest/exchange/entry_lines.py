"""Entries of the journal as lines of JSON, each complete in itself (JSON Lines): written, and read with every mistake.

docs/journal.md explains each key. Times are RFC 3339 texts; a body has the keys of its kind's model in
``ingest/journal``, but its times, whose keys end in ``_ms`` there, are such texts as well, without that ending.
"""

from __future__ import annotations

__all__ = ["LONGEST_LINE", "EntryLines", "entry_line", "entry_object", "read_entry_lines"]

import dataclasses
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Annotated, Any, Final
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, TypeAdapter, ValidationError, ValidationInfo

from ingest.cellar import Identifier
from ingest.errors import EntryRefused, IngestError
from ingest.journal.body import Words, body_data, shown
from ingest.journal.entry import Entry, Strike
from ingest.journal.former_kinds import renamed_kind
from ingest.journal.kinds import KINDS, parse_body, unknown_kind
from ingest.journal.merging import EntryLine, Mistake
from ingest.json_text import json_text
from ingest.times import iso_utc, moment_of
from ingest.validation_words import allowed_words

LONGEST_LINE: Final = 1 << 20
"""Bytes. An entry has a few hundred."""

_WRITE_TIME: Final = 'write such as "2026-11-25T18:30:00.000Z"'
_MARK: Final = "\ufeff"
_MS: Final = "_ms"


def _moment(value: object, info: ValidationInfo[ZoneInfo]) -> int:
    """Read a time as UTC ms; the validation's context is the zone of times that name none."""
    if not isinstance(value, str):
        raise ValueError(f"is not a text; {_WRITE_TIME}")
    if ":" not in value:
        raise ValueError(f"is not a time of a day; {_WRITE_TIME}")
    try:
        at_ms = moment_of(value, info.context)
    except IngestError as error:
        raise ValueError(str(error)) from None
    if at_ms < 0:
        raise ValueError("is before 1970")
    return at_ms


def _known_kind(value: object) -> object:
    if isinstance(value, str) and value not in KINDS:
        raise ValueError(unknown_kind(value))
    return value


_Moment = Annotated[int, BeforeValidator(_moment)]
_MOMENT: Final[TypeAdapter[int]] = TypeAdapter(_Moment)
# Half of what is exact in every program that reads JSON (RFC 8259, section 6), so that the numbers that follow it are
# exact there, too.
_Number = Annotated[int, Field(ge=1, le=2**52)]


class _StrictModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, str_strip_whitespace=True)


class _StrikeModel(_StrictModel):
    at: _Moment
    who: Words
    reason: Words
    together_with: _Number | None = None


class _EntryModel(_StrictModel):
    id: _Number | None = None
    kind: Annotated[str, BeforeValidator(_known_kind)]
    at: _Moment
    written: _Moment | None = None
    who: Words
    place: Identifier | None = None
    lot: Identifier | None = None
    body: dict[str, Any]
    struck: _StrikeModel | None = None
    in_place_of: _Number | None = None
    # The body in words, which the command adds for people. It is not read.
    said: Any = None


# ---- write ---------------------------------------------------------------------------------------------------------


def entry_object(entry: Entry) -> dict[str, object]:
    """Make the object of an entry's line."""
    struck = entry.struck
    return {
        "id": entry.id,
        "kind": entry.kind,
        "at": iso_utc(entry.at_ms),
        "written": iso_utc(entry.written_ms),
        "who": entry.who,
        "place": entry.place,
        "lot": entry.lot,
        "body": _body_object(json.loads(body_data(entry.body))),
        "struck": None
        if struck is None
        else {
            "at": iso_utc(struck.at_ms),
            "who": struck.who,
            "reason": struck.reason,
            "together_with": struck.together_with,
        },
        "in_place_of": entry.in_place_of,
    }


def entry_line(entry: Entry) -> str:
    """Write an entry as a line."""
    return json_text(entry_object(entry)) + "\n"


def _body_object(data: dict[str, Any]) -> dict[str, Any]:
    return {key.removesuffix(_MS): iso_utc(value) if key.endswith(_MS) else value for key, value in data.items()}


# ---- read ----------------------------------------------------------------------------------------------------------


class _LineWrong(Exception):
    """What is wrong with a line, each with its key."""

    def __init__(self, *whys: str) -> None:
        self.whys = whys
        super().__init__(*whys)


@dataclass(frozen=True, slots=True)
class EntryLines:
    """What was read from a file: entries, mistakes in lines that hold none, and how many lines are not empty.

    cells: of a table, entry's line -> (line of its row, head of its column), since a row holds several; unread: the
    heads of columns that nothing was read from.
    """

    entries: list[EntryLine]
    mistakes: list[Mistake]
    count: int
    cells: Mapping[int, tuple[int, str]] = dataclasses.field(default_factory=dict)
    unread: tuple[str, ...] = ()

    def located(self, mistake: Mistake) -> Mistake:
        """Give a mistake in an entry with the line of the file that it is in."""
        if mistake.line not in self.cells:
            return mistake
        line, head = self.cells[mistake.line]
        return Mistake(line, f"{head}: {mistake.why}")


def read_entry_lines(stream: IO[bytes], zone: ZoneInfo, now_ms: int) -> EntryLines:
    """Read lines. Raises only what the stream itself raises.

    zone: that of times that name none; now_ms: when an entry counts as written if its line does not say (UTC ms); a
    struck one then counts as written when it was struck.
    """
    entries: list[EntryLine] = []
    mistakes: list[Mistake] = []
    count = 0
    for number, raw in _numbered(stream):
        if not raw.strip():
            continue
        count += 1
        if number == 1 and raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            mistakes.append(Mistake(number, "is not UTF-8 text but UTF-16; save the file as UTF-8"))
            break  # so is the rest
        try:
            entries.append(_entry(number, raw, zone, now_ms))
        except _LineWrong as wrong:
            mistakes += [Mistake(number, why) for why in wrong.whys]
        except RecursionError:
            mistakes.append(Mistake(number, "is nested too deep to be an entry"))
    return EntryLines(entries, mistakes, count)


def _numbered(stream: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    number = 0
    while raw := stream.readline(LONGEST_LINE + 1):
        number += 1
        yield number, raw
        while len(raw) > LONGEST_LINE and not raw.endswith(b"\n"):
            raw = stream.readline(LONGEST_LINE + 1)


def _entry(line: int, raw: bytes, zone: ZoneInfo, now_ms: int) -> EntryLine:
    data = renamed_kind(_json_object(line, raw))
    whys: list[str] = []
    try:
        form = _EntryModel.model_validate(data, context=zone)
    except ValidationError as error:
        whys += [_form_problem(detail, data) for detail in error.errors(include_url=False)]
    kind, body_object = data.get("kind"), data.get("body")
    if isinstance(kind, str) and kind in KINDS and isinstance(body_object, dict):
        try:
            body = parse_body(kind, _body_data(kind, body_object, zone))
        except EntryRefused as error:
            whys += ["body" + str(problem).removeprefix(kind) for problem in error.problems]
        except _LineWrong as wrong:
            whys += wrong.whys
    if whys:
        raise _LineWrong(*whys)
    struck = None
    if form.struck is not None:
        struck = Strike(form.struck.at, form.struck.who, form.struck.reason, form.struck.together_with)
    written_ms = form.written
    if written_ms is None:
        # What was struck was written before.
        written_ms = now_ms if form.struck is None else min(now_ms, max(form.at, form.struck.at))
    entry = Entry(
        form.id or 0, form.kind, form.at, written_ms, form.who, form.place, form.lot, body, struck, form.in_place_of
    )
    return EntryLine(line, entry, dated=form.written is not None)


def _json_object(line: int, raw: bytes) -> dict[str, Any]:
    if len(raw) > LONGEST_LINE:
        raise _LineWrong(f"is longer than {LONGEST_LINE:,} bytes; one line holds one entry")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _LineWrong(f"is not UTF-8 text (byte {error.start + 1} cannot be read); save the file as UTF-8") from None
    if line == 1:
        text = text.removeprefix(_MARK)
    try:
        data = json.loads(text, object_pairs_hook=_once, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        hint = "; take a list apart, one object a line" if text.lstrip().startswith("[") else ""
        raise _LineWrong(f"is not a JSON object ({error.msg}, at character {error.pos + 1}){hint}") from None
    except ValueError as error:  # a number of thousands of digits
        raise _LineWrong(f"is not a JSON object ({error})") from None
    if not isinstance(data, dict):
        raise _LineWrong(f"is {shown(data)}, not a JSON object with the keys of an entry")
    try:
        json.dumps(data, ensure_ascii=False, allow_nan=True).encode("utf-8")  # only a check; the result is not used
    except UnicodeEncodeError:
        raise _LineWrong("holds half a character (a lone surrogate such as \\ud800), which is not text") from None
    return data


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        names = [name for name, _ in pairs]
        raise _LineWrong(f"has the key {shown(next(name for name in names if names.count(name) > 1))} twice")
    return members


def _no_number(text: str) -> Any:
    raise _LineWrong(f"holds {text}, which is not a number")


def _body_data(kind: str, body: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    """Convert the times of a body to the milliseconds of the kind's model."""
    data = dict(body)
    whys = []
    for field in KINDS[kind].body.model_fields:
        key = field.removesuffix(_MS)
        if key == field or key not in data:
            continue
        text = data.pop(key)
        if field in data:
            whys.append(f"body {key}: is given twice, as {field} too")
        elif text is not None:
            try:
                data[field] = _MOMENT.validate_python(text, context=zone)
            except ValidationError as error:
                whys.append(f"body {key} = {shown(text)}: {allowed_words(error.errors()[0])}")
    if whys:
        raise _LineWrong(*whys)
    return data


def _form_problem(error: Any, data: dict[str, Any]) -> str:
    where = error["loc"]
    value: Any = data
    for part in where:
        value = value.get(part) if isinstance(value, dict) else None
    key = " ".join(str(part) for part in where)
    if error["type"] == "missing":
        return f"{key}: is missing"
    if error["type"] == "extra_forbidden":
        form = _EntryModel if len(where) == 1 else _StrikeModel
        names = ", ".join(name for name in form.model_fields if name != "said")
        return f"{' '.join(shown(part) for part in where)}: there is no such key; there are: {names}"
    return f"{key} = {shown(value)}: {allowed_words(error)}"
