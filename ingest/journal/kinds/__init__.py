"""The kinds of entries, one file each, and the table of them.

kind    what makes a kind: ``EntryKind``
sample  a small kind to read next; ``racking`` is the largest

A new kind is a file and its line in ``KINDS``; everything else asks this table.
"""

from __future__ import annotations

__all__ = [
    "KINDS",
    "body_words",
    "kind_of",
    "ledger_step",
    "moves",
    "moving_kinds",
    "parse_body",
    "parse_stored_body",
    "result_units",
    "spread_words",
    "unknown_kind",
]

from collections.abc import Mapping
from typing import Any, Final

from ingest.errors import Problem
from ingest.journal.body import Body, BodyWrong, read_body, shown
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.addition import ADDITION
from ingest.journal.kinds.bottling import BOTTLING
from ingest.journal.kinds.calibration import CALIBRATION
from ingest.journal.kinds.first_filling import FIRST_FILLING
from ingest.journal.kinds.gas import GAS
from ingest.journal.kinds.inspection import INSPECTION
from ingest.journal.kinds.kind import NOTHING_CHANGES, EntryKind, LedgerStep, StateOf
from ingest.journal.kinds.lot import LOT_KIND
from ingest.journal.kinds.measurement import MEASUREMENT
from ingest.journal.kinds.racking import RACKING
from ingest.journal.kinds.sample import SAMPLE
from ingest.journal.kinds.titrant import TITRANT
from ingest.journal.kinds.titration import TITRATION
from ingest.journal.kinds.topping import TOPPING
from ingest.journal.kinds.vessel_status import VESSEL_STATUS
from ingest.journal.typed_amounts import as_typed

KINDS: Final[dict[str, EntryKind[Any]]] = {
    kind.name: kind
    for kind in (
        LOT_KIND,
        FIRST_FILLING,
        TITRATION,
        TITRANT,
        MEASUREMENT,
        ADDITION,
        RACKING,
        TOPPING,
        SAMPLE,
        GAS,
        INSPECTION,
        BOTTLING,
        CALIBRATION,
        VESSEL_STATUS,
    )
}
"""Every kind by its name, in the order in which people are shown them."""


def kind_of(body: Body) -> EntryKind[Any]:
    """Find the kind that a body belongs to."""
    return next(kind for kind in KINDS.values() if kind.body is type(body))


def unknown_kind(name: object) -> str:
    """Say that there is no kind of that name, and which there are."""
    return f"there is no such kind; there are: {', '.join(KINDS)}"


def parse_body(kind: str, data: Mapping[str, Any]) -> Body:
    """Read the body of an entry of that kind from plain data; see ``ingest.journal.body.read_body``.

    Raises BodyWrong, also for a kind that there is not.
    """
    if kind not in KINDS:
        raise BodyWrong([Problem("entry", "kind", shown(kind), unknown_kind(kind))])
    body: Body = read_body(KINDS[kind].body, kind, data)
    return body


def parse_stored_body(kind: str, text: str) -> Body:
    """Read a body as ``body_data`` wrote it. Raises KeyError for an unknown kind, else pydantic's ValidationError."""
    known = KINDS[kind]
    body: Body = known.body.model_validate_json(known.updated(text))
    return body


def body_words(body: Body, lot: str | None = None) -> str:
    """Put an entry's body into words: one line, without time, person, place and remark. lot: the entry's."""
    kind = kind_of(body)
    return as_typed(kind.words(body, lot), kind, body)


def spread_words(body: Body) -> str:
    """Give the standard uncertainty of a result in words, "" where there is none."""
    return kind_of(body).spread_words(body)


def result_units() -> dict[str, str]:
    """Give the unit of every quantity that entries find without naming its unit, by its name."""
    return {quantity: unit for kind in KINDS.values() for quantity, unit in kind.result_units.items()}


def moves(entry: Entry) -> bool:
    """Whether entries of its kind can change what a vessel holds, or what is known of it."""
    return KINDS[entry.kind].ledger_step is not None


def moving_kinds() -> list[str]:
    """List the kinds of which that is so."""
    return [kind.name for kind in KINDS.values() if kind.ledger_step is not None]


def ledger_step(entry: Entry, state_of: StateOf, equipment: Equipment) -> LedgerStep:
    """Work out what an entry does. state_of: what a vessel holds before it.

    An entry with objections still says what it would do.
    """
    step = KINDS[entry.kind].ledger_step
    return NOTHING_CHANGES if step is None else step(entry, entry.body, state_of, equipment)
