"""A table of titrations and measurements by hand, as people keep it in a spreadsheet, as entries of the journal. Pure.

Each row is of one wine at one time; each column of numbers is one quantity. What a column holds stands in its head,
such as "Free SO2 (mg/L)", or is given by the caller.
"""

from __future__ import annotations

__all__ = ["ResultForm", "read_result_table"]

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from ingest.cellar import Cellar, Dimension, parse_amount
from ingest.errors import IngestError, Unreadable
from ingest.exchange.entry_lines import EntryLines
from ingest.exchange.moments import Moments
from ingest.journal.answers import AnswersWrong
from ingest.journal.body import Body
from ingest.journal.contents import Contents
from ingest.journal.drafting import draft_entry
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds import parse_body
from ingest.journal.kinds.measurement import MEASUREMENT, hand_quantity
from ingest.journal.lots import Lots
from ingest.journal.merging import EntryLine, Mistake
from ingest.journal.titrant_bottles import TitrantBottles
from ingest.journal.titration_lines import read_amounts, wine_named


class ResultForm(NamedTuple):
    """How to read a table.

    names: column -> what it holds, for those whose head does not say it; who: who found it, where no column says it;
    method, titrant, sample, blank: of titres in mL, as they are answered; None where no column needs them.
    """

    names: Mapping[str, str]
    who: str
    method: str | None = None
    titrant: str | None = None
    sample: str | None = None
    blank: str | None = None


class _ResultColumn(NamedTuple):
    """place: in a row, from 0; head: as it stands there; quantity: free or total SO2, or one of a measurement; unit: ""
    for the usual one.
    """

    place: int
    head: str
    quantity: str
    unit: str


_UNIT: Final = re.compile(
    r"(.*?)\s*(?:[\[(]\s*([^\])]*?)\s*[\])]|(?<=\s)(mg/l|ml|ppm|g/l|°?[cf]|%\s?vol))\s*", re.IGNORECASE
)
_WORDS: Final[Mapping[str, str]] = {
    **dict.fromkeys(("date", "time", "at", "when", "day", "date and time", "datum"), "date"),
    **dict.fromkeys(("vessel", "lot", "wine", "vessel or lot", "keg", "carboy", "barrel", "tank"), "wine"),
    **dict.fromkeys(("remark", "remarks", "note", "notes", "comment", "comments"), "remark"),
    **dict.fromkeys(("who", "by"), "who"),
    **dict.fromkeys(("free so2", "free", "fso2", "free sulfur dioxide", "free sulphur dioxide"), "free SO2"),
    **dict.fromkeys(("total so2", "total", "tso2", "total sulfur dioxide", "total sulphur dioxide"), "total SO2"),
}
_SO2: Final = ("free SO2", "total SO2")
_MILLILITRES: Final = "ml"
_CONCENTRATIONS: Final = ("mg/l", "ppm")
_EMPTY: Final = ("", "-", "–")
_NUMBER: Final = re.compile(r"[-+]?\d*[.,]?\d+")


def read_result_table(
    rows: Iterable[tuple[int, Sequence[str]]],
    form: ResultForm,
    cellar: Cellar,
    lots: Collection[str],
    moments: Moments,
    now_ms: int,
) -> EntryLines:
    """Read the rows of a table, each with the line that it ends in; the first one holds the heads.

    lots: those that the journal describes. Raises IngestError for heads that will not do.
    """
    lines = iter(rows)
    reader = _Reader(next(lines, (1, ()))[1], form, cellar, lots, moments, now_ms)
    for line, row in lines:
        if any(cell.strip() for cell in row):
            reader.take(line, row)
    return EntryLines(reader.entries, reader.mistakes, reader.count, reader.rows, tuple(reader.unread))


class _Reader:
    def __init__(
        self,
        heads: Sequence[str],
        form: ResultForm,
        cellar: Cellar,
        lots: Collection[str],
        moments: Moments,
        now_ms: int,
    ) -> None:
        self._form, self._cellar, self._lots, self._moments = form, cellar, lots, moments
        self._now_ms = now_ms
        self.entries: list[EntryLine] = []
        self.mistakes: list[Mistake] = []
        self.rows: dict[int, tuple[int, str]] = {}
        self.count = 0
        heads = [head.strip() for head in heads]
        named = ", ".join(f"'{head}'" for head in heads)
        names = {name.strip(): meaning for name, meaning in form.names.items()}
        missing = [name for name in names if name not in heads]
        if missing:
            raise IngestError(f"there is no column '{missing[0]}'; the first row names {named}")
        columns = [_column(place, head, names) for place, head in enumerate(heads)]
        self.unread = [head for head, column in zip(heads, columns, strict=True) if column is None and head]
        found = [column for column in columns if column is not None]
        self._place = {name: self._only(found, name) for name in ("date", "wine", "remark", "who")}
        for name in ("date", "wine"):
            if self._place[name] is None:
                if not heads:
                    raise IngestError(
                        "the table is empty; the first row must name the columns, such as Date, Vessel, pH"
                    )
                raise IngestError(
                    f"no column is the {name}; the first row names {named}: name it there, or with "
                    f"--map '{name}={heads[0]}'"
                )
        self._results = [column for column in found if column.quantity not in self._place]
        if not self._results:
            raise IngestError(
                "no column holds a result that can be taken: free SO2 or total SO2 with (mg/L) or (mL), pH, "
                "temperature, and what else can be measured; name one in the first row, or with --map"
            )
        self._check_so2()

    @staticmethod
    def _only(columns: Iterable[_ResultColumn], name: str) -> int | None:
        places = [column for column in columns if column.quantity == name]
        if len(places) > 1:
            raise IngestError(f"'{places[0].head}' and '{places[1].head}' are both the {name}; rename one")
        return places[0].place if places else None

    def _check_so2(self) -> None:
        for column in self._results:
            unit = column.unit.lower()
            if column.quantity in _SO2 and unit not in (_MILLILITRES, *_CONCENTRATIONS):
                raise IngestError(
                    f"the column '{column.head}' does not say whether it is a result in mg/L or a titre in mL; write "
                    f"it as '{column.quantity} (mg/L)', there or with --map"
                )
            if unit == _MILLILITRES and (self._form.titrant is None or self._form.sample is None):
                raise IngestError(f"the column '{column.head}' holds titres; say --titrant and --sample, too")

    def take(self, line: int, row: Sequence[str]) -> None:
        """Take one row."""
        self.count += 1
        cells = [cell.strip() for cell in row]
        try:
            at_ms = self._moments.at_ms(self._cell(cells, "date"))
        except Unreadable as error:
            self.mistakes.append(Mistake(line, f"{error.reason}: {error.detail}" if error.detail else error.reason))
            return
        try:
            wine = wine_named(self._cell(cells, "wine"), (vessel.id for vessel in self._cellar.vessel), self._lots)
        except ValueError as error:
            self.mistakes.append(Mistake(line, str(error)))
            return
        who = self._cell(cells, "who") or self._form.who
        for column in self._results:
            text = cells[column.place] if column.place < len(cells) else ""
            if text in _EMPTY:
                continue
            try:
                kind, body = self._body(column, text, wine, at_ms)
            except (ValueError, IngestError) as error:
                why = error.wrong[0].why if isinstance(error, AnswersWrong) else str(error)
                self.mistakes.append(Mistake(line, f"{column.head}: {why}"))
                continue
            remark = self._cell(cells, "remark")
            if remark:
                body = body.model_copy(update={"remark": remark})
            number = len(self.rows) + 1
            self.rows[number] = (line, column.head)
            entry = Entry(0, kind, at_ms, self._now_ms, who, wine.get("vessel"), wine.get("lot"), body)
            self.entries.append(EntryLine(number, entry, dated=False))

    def _cell(self, cells: Sequence[str], name: str) -> str:
        place = self._place[name]
        return "" if place is None or place >= len(cells) else cells[place]

    def _body(self, column: _ResultColumn, text: str, wine: dict[str, str], at_ms: int) -> tuple[str, Body]:
        """The entry's kind and body for one cell. Raises ValueError, IngestError."""
        if column.quantity not in _SO2:
            given = {"quantity": column.quantity, "value": f"{_number(text)} {column.unit}".strip()}
            context = EntryContext(self._cellar, _NOTHING, Lots(), TitrantBottles({}, {}), None, ())
            draft = draft_entry(MEASUREMENT, {**given, **wine}, context, who="-", at_ms=at_ms).draft
            return MEASUREMENT.name, draft.body
        quantity = column.quantity.split()[0]
        if column.unit.lower() in _CONCENTRATIONS:
            data: dict[str, Any] = {"method": "elsewhere", "so2_mg_l": float(_number(text))}
        else:
            data = {
                "method": self._form.method or "iodometric",
                "titrant": self._form.titrant,
                "sample_ml": _ml(self._form.sample or "", "25 mL"),
                "flasks": [{"titre_ml": _ml(each, "1.25 mL")} for each in _titres(text)],
            }
            if self._form.blank is not None:
                data["blank_ml"] = _ml(self._form.blank, "0.1 mL")
        return "titration", parse_body("titration", {"quantity": quantity, **data})


_NOTHING: Final[Mapping[str, Contents]] = {}


def _column(place: int, head: str, names: Mapping[str, str]) -> _ResultColumn | None:
    """What a column holds; None if its head does not say it."""
    text = names.get(head, head)
    match = _UNIT.fullmatch(text)
    name, unit = (text, "") if match is None else (match[1], match[2] or match[3] or "")
    plain = " ".join(name.lower().replace("₂", "2").replace("_", " ").split())
    quantity = _WORDS.get(plain) or hand_quantity(plain)
    if quantity is None:
        if head in names:
            raise IngestError(
                f"'{text}' is nothing that a column can be: date, wine, remark, who, free SO2, total SO2, or what can "
                "be measured, each with its unit behind it, such as 'free SO2 (mg/L)'"
            )
        return None
    return _ResultColumn(place, head, quantity, unit)


def _number(text: str) -> str:
    """A number as it is written, with a point. Raises ValueError."""
    if _NUMBER.fullmatch(text) is None:
        raise ValueError(f"'{text}' is not a number; write the number alone, or leave the cell empty")
    return text.replace(",", ".")


def _titres(text: str) -> tuple[str, ...]:
    """The titres of a cell, one for each flask. Raises ValueError."""
    try:
        return read_amounts(text, "mL")
    except ValueError as error:
        raise ValueError(f"{error}; write the titres alone, such as 1.25 1.30, or leave the cell empty") from None


def _ml(text: str, example: str) -> float:
    return parse_amount(text, dimension=Dimension.VOLUME, unit="mL", example=example).number
