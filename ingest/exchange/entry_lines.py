"""Entries of the journal as lines of JSON, each complete in itself (JSON Lines): out, and in with every mistake told.

docs/journal.md tells each key. Times are RFC 3339 texts; a body has the keys of its kind's model in ``ingest/journal``,
but its times, whose keys end in ``_ms`` there, are such texts as well, without that ending.
"""

from __future__ import annotations

__all__ = ["LONGEST_LINE", "EntryLines", "entry_line", "entry_object", "read_entry_lines"]

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO, Annotated, Any, Final
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ingest.cellar import Identifier
from ingest.errors import EntryRefused, IngestError
from ingest.journal.body import Words, body_data, shown
from ingest.journal.entry import Entry, Strike
from ingest.journal.kinds import KINDS, parse_body, unknown_kind
from ingest.journal.merging import Mistake, Told
from ingest.times import iso_utc, moment_of

LONGEST_LINE: Final = 1 << 20
"""Bytes. An entry has some hundred."""

_WRITE_TIME: Final = 'write such as "2026-11-25T18:30:00.000Z"'
_MARK: Final = "\ufeff"
_MS: Final = "_ms"

# Half of what is exact in every program that reads JSON (RFC 8259, section 6): the numbers that follow on it here must
# be taken elsewhere, too.
_Number = Annotated[int, Field(ge=1, le=2**52)]


class _StrictModel(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, str_strip_whitespace=True)


class _StrikeModel(_StrictModel):
    at: str
    who: Words
    reason: Words
    together_with: _Number | None = None


class _EntryModel(_StrictModel):
    id: _Number | None = None
    kind: str
    at: str
    written: str | None = None
    who: Words
    place: Identifier | None = None
    lot: Identifier | None = None
    body: dict[str, Any]
    struck: _StrikeModel | None = None
    # The body in words, as the command adds it for people. Nothing is read from it.
    said: Any = None


# ---- out -----------------------------------------------------------------------------------------------------------


def entry_object(entry: Entry) -> dict[str, object]:
    """An entry as the object of its line."""
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
    }


def entry_line(entry: Entry) -> str:
    """An entry as a line."""
    return json.dumps(entry_object(entry), ensure_ascii=False) + "\n"


def _body_object(data: dict[str, Any]) -> dict[str, Any]:
    return {key.removesuffix(_MS): iso_utc(value) if key.endswith(_MS) else value for key, value in data.items()}


# ---- in ------------------------------------------------------------------------------------------------------------


class _LineWrong(Exception):
    """What is wrong with a line, each with its key."""

    def __init__(self, *whys: str) -> None:
        self.whys = whys
        super().__init__(*whys)


@dataclass(frozen=True, slots=True)
class EntryLines:
    """What a file says: its entries, the mistakes of lines that are none, and how many lines hold something."""

    told: list[Told]
    mistakes: list[Mistake]
    count: int


def read_entry_lines(stream: IO[bytes], zone: ZoneInfo) -> EntryLines:
    """Read lines; zone: of times that name none. Never raises but for what the stream itself raises."""
    told: list[Told] = []
    mistakes: list[Mistake] = []
    count = 0
    for number, raw in _numbered(stream):
        if not raw.strip():
            continue
        count += 1
        if number == 1 and raw.startswith((b"\xff\xfe", b"\xfe\xff")):
            mistakes.append(Mistake(number, "is no UTF-8 text but UTF-16; save the file as UTF-8"))
            break  # so is all the rest
        try:
            told.append(_entry(number, raw, zone))
        except _LineWrong as wrong:
            mistakes += [Mistake(number, why) for why in wrong.whys]
        except RecursionError:
            mistakes.append(Mistake(number, "is nested too deep to be an entry"))
    return EntryLines(told, mistakes, count)


def _numbered(stream: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    number = 0
    while raw := stream.readline(LONGEST_LINE + 1):
        number += 1
        yield number, raw
        while len(raw) > LONGEST_LINE and not raw.endswith(b"\n"):
            raw = stream.readline(LONGEST_LINE + 1)


def _entry(line: int, raw: bytes, zone: ZoneInfo) -> Told:
    data = _json_object(line, raw)
    try:
        form = _EntryModel.model_validate(data)
    except ValidationError as error:
        raise _LineWrong(*(_form_problem(one, data) for one in error.errors(include_url=False))) from None
    whys: list[str] = []

    def moment(key: str, text: str | None) -> int:
        try:
            return 0 if text is None else _moment(text, zone)
        except IngestError as error:
            whys.append(f"{key} = {shown(text)}: {error}")
            return 0

    at_ms, written_ms = moment("at", form.at), moment("written", form.written)
    struck = None
    if form.struck is not None:
        struck_ms = moment("struck at", form.struck.at)
        struck = Strike(struck_ms, form.struck.who, form.struck.reason, form.struck.together_with)
    kind = form.kind
    if kind not in KINDS:
        raise _LineWrong(*whys, f"kind = {shown(kind)}: {unknown_kind(kind)}")
    try:
        body = parse_body(kind, _body_data(kind, form.body, zone))
    except EntryRefused as error:
        raise _LineWrong(*whys, *(_body_problem(kind, str(problem)) for problem in error.problems)) from None
    if whys:
        raise _LineWrong(*whys)
    return Told(
        line=line,
        id=form.id,
        kind=kind,
        at_ms=at_ms,
        written_ms=None if form.written is None else written_ms,
        who=form.who,
        place=form.place,
        lot=form.lot,
        body=body,
        struck=struck,
    )


def _json_object(line: int, raw: bytes) -> dict[str, Any]:
    if len(raw) > LONGEST_LINE:
        raise _LineWrong(f"is longer than {LONGEST_LINE:,} bytes; one line holds one entry")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _LineWrong(f"is no UTF-8 text (byte {error.start + 1} cannot be read); save the file as UTF-8") from None
    if line == 1:
        text = text.removeprefix(_MARK)
    try:
        data = json.loads(text, object_pairs_hook=_once, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        hint = "; a list has to be taken apart, one object a line" if text.lstrip().startswith("[") else ""
        raise _LineWrong(f"is no JSON object ({error.msg}, at character {error.pos + 1}){hint}") from None
    except ValueError as error:  # a number of thousands of digits
        raise _LineWrong(f"is no JSON object ({error})") from None
    if not isinstance(data, dict):
        raise _LineWrong(f"is {shown(data)}, and not a JSON object with the keys of an entry")
    try:
        json.dumps(data, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        raise _LineWrong("holds half a character (a lone surrogate such as \\ud800), which no text can keep") from None
    return data


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise _LineWrong(f"tells the key {shown(next(name for name in names if names.count(name) > 1))} twice")
    return found


def _no_number(text: str) -> Any:
    raise _LineWrong(f"holds {text}, which is no number")


def _moment(text: str, zone: ZoneInfo) -> int:
    plain = text.strip()
    if ":" not in plain:
        raise IngestError(f"is no time of a day; {_WRITE_TIME}")
    # RFC 3339, section 5.6: T and Z may be written small.
    at_ms = moment_of(plain.upper(), zone)
    if at_ms < 0:
        raise IngestError("is before 1970")
    return at_ms


def _body_data(kind: str, body: dict[str, Any], zone: ZoneInfo) -> dict[str, Any]:
    """The body with its times as the kind's model has them."""
    data = dict(body)
    whys = []
    for field in KINDS[kind].body.model_fields:
        key = field.removesuffix(_MS)
        if key == field or key not in data:
            continue
        text = data.pop(key)
        if field in data:
            whys.append(f"body {key}: is told twice, as {field} too")
        elif text is not None:
            try:
                if not isinstance(text, str):
                    raise IngestError(f"is no text; {_WRITE_TIME}")
                data[field] = _moment(text, zone)
            except IngestError as error:
                whys.append(f"body {key} = {shown(text)}: {error}")
    if whys:
        raise _LineWrong(*whys)
    return data


def _form_problem(error: Any, data: dict[str, Any]) -> str:
    where = error["loc"]
    found: Any = data
    for part in where:
        found = found.get(part) if isinstance(found, dict) else None
    key = " ".join(str(part) for part in where)
    message = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "missing":
        return f"{key}: is missing"
    if error["type"] == "extra_forbidden":
        form = _EntryModel if len(where) == 1 else _StrikeModel
        names = ", ".join(name for name in form.model_fields if name != "said")
        return f"{' '.join(shown(part) for part in where)}: there is no such key; there are: {names}"
    return f"{key} = {shown(found)}: {message}"


def _body_problem(kind: str, text: str) -> str:
    return "body" + text.removeprefix(kind)
