"""What an entry is understood by: the bottles, lots and vessels that it names, and the entry before it."""

from __future__ import annotations

__all__ = ["EntryContext", "last_answers"]

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from ingest.cellar import Cellar
from ingest.journal.analyses import TitrantBody
from ingest.journal.entry import Entry
from ingest.journal.ledger import Contents
from ingest.journal.movements import ToppingBody
from ingest.journal.open_rackings import OpenRacking
from ingest.journal.question import Form
from ingest.journal.treatments import AdditionBody, LotBody


@dataclass(frozen=True)
class EntryContext:
    """What is known at the time of an entry.

    contents: what each vessel holds then; bottles: titrants by name, as the newest entry of each has it by then;
    later_bottles: those that were first written down for a later time, with that time (UTC ms); lots: by id; last: the
    newest entry of the same kind; begun: rackings that were begun and not finished, newest first.
    """

    cellar: Cellar
    contents: Mapping[str, Contents] = field(default_factory=dict)
    bottles: Mapping[str, TitrantBody] = field(default_factory=dict)
    later_bottles: Mapping[str, int] = field(default_factory=dict)
    lots: Mapping[str, LotBody] = field(default_factory=dict)
    last: Entry | None = None
    begun: Sequence[OpenRacking] = ()


def last_answers(form: Form, last: Entry | None) -> dict[str, str]:
    """Last time's answers to the questions that are remembered, as texts."""
    if last is None:
        return {}
    found: dict[str, str] = {}
    for question in form.questions:
        if not question.remembered:
            continue
        if question.name == "lot":
            value: object = last.lot
        elif question.key or hasattr(last.body, question.name):
            value = getattr(last.body, question.key or question.name, None)
        else:
            value = None
        if isinstance(last.body, ToppingBody) and question.name == "name":
            value = None if last.body.bought is None else last.body.bought.name
        if isinstance(last.body, AdditionBody) and question.name == "label":
            value = _label(last.body) or None
        if value is not None:
            found[question.name] = question.answer.write(value)
    return found


def _label(body: AdditionBody) -> str:
    if body.label_so2_g is not None:
        return f"{body.label_so2_g:.10g} g"
    return "" if body.label_so2_g_l is None else f"{body.label_so2_g_l:.10g} g/L"
