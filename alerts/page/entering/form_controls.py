"""The controls of an entry's form: from answers as texts to what stands in each control, and back.

An amount is typed as its number, with its unit in a list beside it, so that a phone can show its keyboard of digits; it
may also be typed whole, such as "1.25 mL". Where a question takes several answers, each control occurs several times.
"""

from __future__ import annotations

__all__ = ["Control", "control_of", "point_for_comma", "posted_texts", "typed"]

import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from itertools import zip_longest
from typing import Any, Final, NamedTuple
from zoneinfo import ZoneInfo

from markupsafe import Markup, escape
from starlette.datastructures import FormData

from alerts.view.entries.entry_form import FormField
from ingest.cellar import split_amount
from ingest.errors import IngestError
from ingest.journal.answers import (
    BottleCount,
    Choice,
    Day,
    Measure,
    Number,
    TitrantStrengthText,
    UsualWords,
    VesselVolume,
    Whole,
    YesNo,
)
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.question import REMARK, Question
from ingest.times import moment_of

# The names of a control's parts behind the question's.
_PARTS: Final[Mapping[str, tuple[str, ...]]] = {
    "amount": ("", ".unit"),
    "usual": ("", ".other"),
    "bottles": ("", ".size", ".unit"),
    "vessels": ("", ".volume", ".unit"),
}
_ONE_PART: Final = ("",)
# How many empty controls a question with several answers has at least, without a script to add one.
_LEAST_ROWS: Final = {"amount": 3, "words": 3, "vessels": 2, "bottles": 2}
_VOLUMES: Final = ("L", "mL", "hL", "gal")
_BOTTLE_SIZES: Final = ("L", "mL")
_USUAL_BOTTLE: Final = "0.75"

# Where the example of the command helps, since the answer has to be written.
_WRITTEN_SORTS: Final = frozenset({"amount", "count", "words", "bottles"})
# What a list of ids and names says by itself.
_NAMES_IT: Final = re.compile(r"(?:The|Or the) .*(?:id|name)")

_NUMBER_AND_REST: Final = re.compile(r"\s*([+-]?[0-9.,]+)\s*(.*)", re.DOTALL)
# A phone's keyboard has the comma of its language. Before three digits it may part thousands.
_DECIMAL_COMMA: Final = re.compile(r"\s*([+-]?[0-9]*),([0-9]+)\s*")


class Control(NamedTuple):
    """How a question is shown. sort: which control; rows: the texts of its parts, for each answer; units: of the last
    part; options: of radio buttons.
    """

    field: FormField
    sort: str
    rows: tuple[tuple[str, ...], ...]
    units: tuple[str, ...] = ()
    options: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The question's name, which its parts' names begin with."""
        return self.field.question.name

    @property
    def texts(self) -> list[str]:
        """The answers as the control sends them while nobody touches it."""
        if self.sort == "checks":
            return list(self.field.texts)
        answers = [_whole(self.sort, [part.strip() for part in row]) for row in self.rows]
        return [answer for answer in answers if answer]

    @property
    def help(self) -> str:
        """What the answer is, with an example where one has to be written; "" where the control says it all."""
        text = self.field.question.help.rstrip(".")
        if self.sort == "select" and _NAMES_IT.fullmatch(text):
            return ""
        if self.options and text.startswith((", ".join(self.options), " or ".join(self.options))):
            return ""
        if text == self.field.question.ask.rstrip("?"):
            return ""
        # Where the unit depends on another answer, so does an example.
        is_written = self.sort in _WRITTEN_SORTS and self.field.question.units is None
        hint = self.field.hint if is_written else ""
        return f"{text}, {hint}." if hint else f"{text}."

    @property
    def part_names(self) -> tuple[str, ...]:
        """The ends of its parts' names."""
        return _PARTS.get(self.sort, _ONE_PART)


def control_of(field: FormField, zone: ZoneInfo) -> Control:
    """Make the control of a question. zone: of the cellar, in which dates are shown."""
    question = field.question
    sort = _sort(question, has_choices=bool(field.choices))
    rows = tuple(_parts(sort, text, field.units, zone) for text in field.texts)
    if sort == "checks":
        rows = (tuple(field.texts),)
    elif question.many:
        rows += (_empty(sort, field.units),) * max(_LEAST_ROWS.get(sort, 1) - len(rows), 0)
    units = {"vessels": _VOLUMES, "bottles": _BOTTLE_SIZES}.get(sort, field.units)
    answer = question.answer
    options: tuple[str, ...] = ()
    if isinstance(answer, Choice):
        options = answer.options
    elif isinstance(answer, YesNo):
        options = ("yes", "no")
    elif isinstance(answer, UsualWords):
        options = answer.usual
    return Control(field, sort, rows or (_empty(sort, field.units),), units, options)


def posted_texts(kind: EntryKind[Any], form: FormData) -> dict[str, list[str]]:
    """Read the answers out of a form that was sent, by question; what is empty is left out."""
    texts: dict[str, list[str]] = {}
    for question in kind.questions:
        # Whether there is a list to choose from does not change what is sent.
        sort = _sort(question, has_choices=False)
        parts = [_texts(form, question.name + part) for part in _PARTS.get(sort, _ONE_PART)]
        answers = [_whole(sort, row) for row in zip_longest(*parts, fillvalue="")]
        answers = [answer for answer in answers if answer]
        if answers:
            texts[question.name] = answers
    return texts


def typed(text: str) -> Markup:
    """Give what somebody typed as it stands in a control: escaped, but else unchanged, since it is sent again."""
    return escape(text)


def _texts(form: FormData, name: str) -> list[str]:
    # A browser sends line breaks as two characters.
    return [value.replace("\r\n", "\n").strip() for value in form.getlist(name) if isinstance(value, str)]


def _sort(question: Question, *, has_choices: bool) -> str:
    """Which control a question is shown as."""
    answer = question.answer
    if question.flag:
        return "check"
    if question.units is not None or isinstance(answer, Measure | Number | TitrantStrengthText):
        return "amount"
    for form, sort in (
        (YesNo, "radios"),
        (Choice, "radios"),
        (Whole, "count"),
        (BottleCount, "bottles"),
        (VesselVolume, "vessels"),
        (Day, "day"),
        (UsualWords, "usual"),
    ):
        if isinstance(answer, form):
            return sort
    if has_choices and not question.new:
        return "checks" if question.many else "select"
    return "long" if question.name == REMARK.name else "words"


def _empty(sort: str, units: Sequence[str]) -> tuple[str, ...]:
    first = units[0] if units else ""
    return {
        "amount": ("", first),
        "usual": ("", ""),
        "bottles": ("", _USUAL_BOTTLE, "L"),
        "vessels": ("", "", "L"),
    }.get(sort, ("",))


# ---- from a text to its parts --------------------------------------------------------------------------------------


def _parts(sort: str, text: str, units: Sequence[str], zone: ZoneInfo) -> tuple[str, ...]:
    """Take a text apart into what its control's parts show; what cannot be taken apart stands whole in the first."""
    if sort == "amount":
        return _amount_parts(text, units)
    if sort == "usual":
        return (text, "")
    if sort == "bottles":
        number, cross, size = text.partition("x")
        return (number.strip(), *_amount_parts(size, _BOTTLE_SIZES)) if cross else (text, "", "L")
    if sort == "vessels":
        vessel, equals, volume = text.partition("=")
        return (vessel.strip(), *_amount_parts(volume, _VOLUMES)) if equals else (text, "", "L")
    if sort == "day":
        return (_day(text, zone),)
    return (text,)


def _amount_parts(text: str, units: Sequence[str]) -> tuple[str, str]:
    match = _NUMBER_AND_REST.fullmatch(text)
    first = units[0] if units else ""
    if match is None:
        return text, first
    number, unit = match[1], match[2].strip()
    if unit in units or not unit:
        return number, unit or first
    return text.strip(), first


def _day(text: str, zone: ZoneInfo) -> str:
    """The date of a moment, as a control for dates takes it."""
    try:
        return f"{datetime.fromtimestamp(moment_of(text, zone) / 1000, UTC).astimezone(zone):%Y-%m-%d}"
    except (IngestError, ValueError, OverflowError):  # also at either end of the calendar
        return text


# ---- from the parts to a text --------------------------------------------------------------------------------------


def _whole(sort: str, parts: Sequence[str]) -> str:
    """Put an answer together from what its control's parts hold; "" where nothing is answered."""
    first = parts[0]
    if sort == "amount":
        return _amount(first, parts[1])
    if sort == "usual":
        return parts[1] or first
    if sort == "bottles":
        size = _amount(parts[1], parts[2])
        return f"{first} x {size}" if first and size and "x" not in first else first
    if sort == "vessels":
        volume = _amount(parts[1], parts[2])
        return f"{first}={volume}" if volume else first
    return first


def point_for_comma(text: str) -> str:
    """Write a number with a decimal comma with a point; one that may part thousands, and other text, stays as it is."""
    comma = _DECIMAL_COMMA.fullmatch(text)
    if comma is None or (len(comma[2]) == 3 and comma[1].strip("+-0")):
        return text
    return f"{comma[1] or 0}.{comma[2]}"


def _amount(text: str, unit: str) -> str:
    """A number with its unit behind it; what was typed with a unit, or is not a number, stays as it was typed."""
    text = point_for_comma(text)
    try:
        _, typed_unit = split_amount(text)
    except ValueError:
        return text
    return text if typed_unit or not unit else f"{text} {unit}"
