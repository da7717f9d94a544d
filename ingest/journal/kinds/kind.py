"""What makes a kind of entry: its body, questions, words, cautions, warnings, what it must name, what it does."""

from __future__ import annotations

__all__ = [
    "AT_A_VESSEL",
    "GLASS",
    "LARGE_L",
    "LOT_NEEDED",
    "NOTHING_CHANGES",
    "NO_PLACE",
    "VESSEL_KINDS",
    "BodyData",
    "EntryKind",
    "LedgerStep",
    "LotRule",
    "NamedVessels",
    "PlaceRule",
    "StateOf",
    "beyond_stamp",
    "large_caution",
    "opening_caution",
    "place_of",
    "place_question",
]

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Generic, NamedTuple, TypeVar

from ingest.cellar import Vessel
from ingest.errors import Problem
from ingest.journal.body import Body
from ingest.journal.contents import Contents
from ingest.journal.entry import Draft, Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.question import Given, Question
from ingest.journal.vessel_state import Objection, VesselState

B = TypeVar("B", bound=Body)

BodyData = dict[str, Any]
"""A body as plain data, by its model's keys."""

StateOf = Callable[[str], VesselState]
"""What a vessel holds before an entry, by the vessel's id."""


# ---- what an entry must name ----------------------------------------------------------------------------------------

VESSEL_KINDS: Final = frozenset({"keg", "carboy", "barrel", "tank", "bottle"})


class PlaceRule(NamedTuple):
    """The place of an entry. allowed: kinds of places that it may be (keg, ..., cylinder, room), none: the entry has no
    place of its own; needed: it must have one; or_lot: it must name a place or a lot.
    """

    allowed: frozenset[str] = frozenset()
    needed: bool = False
    or_lot: bool = False


NO_PLACE: Final = PlaceRule()
AT_A_VESSEL: Final = PlaceRule(VESSEL_KINDS, needed=True)


class LotRule(NamedTuple):
    """Whether an entry names a lot.

    missing: what a person reads if none is named, "" if it may be left out; refused: what a person reads if one is
    named, "" if it may be; introduced: the entry says what the lot is. Other entries name a lot that such an entry has
    introduced.
    """

    missing: str = ""
    refused: str = ""
    introduced: bool = False


_LOT_ALLOWED: Final = LotRule()
LOT_NEEDED: Final = LotRule(missing="is missing: say which lot")


# ---- what an entry does to vessels ----------------------------------------------------------------------------------


class LedgerStep(NamedTuple):
    """changes: what the vessels that the entry touches hold after it; objections: what cannot be, with numbers; drawn:
    the vessels that wine was taken from.
    """

    changes: Mapping[str, VesselState] = {}
    objections: Sequence[Objection] = ()
    drawn: Sequence[str] = ()


NOTHING_CHANGES: Final = LedgerStep()


def place_question(place_kind: str | None) -> str:
    """Name the question that a place answers: vessel, cylinder or room; place_kind: keg, ..., None where unknown."""
    return place_kind if place_kind in ("cylinder", "room") else "vessel"


def place_of(entry: Entry) -> str:
    """Give the place of an entry whose kind needs one."""
    if entry.place is None:
        raise ValueError(f"{entry} has no place, and its kind needs one")
    return entry.place


# ---- what a person should know about an entry -----------------------------------------------------------------------


class NamedVessels(NamedTuple):
    """The vessels that a draft names. vessels: as the cellar file has them; before: what the one that it is about held;
    after: what each holds then.
    """

    vessels: Sequence[Vessel] = ()
    before: Contents | None = None
    after: Sequence[Contents] = ()

    @property
    def of_glass(self) -> bool:
        """Whether one is made of glass."""
        return any(vessel.material == "glass" for vessel in self.vessels)

    @property
    def under_gas(self) -> bool:
        """Whether one is kept under gas pressure."""
        return any(vessel.under_gas for vessel in self.vessels)

    @property
    def is_large(self) -> bool:
        """Whether a person could lean or climb into one."""
        return any(vessel.kind == "tank" or vessel.capacity_l >= LARGE_L for vessel in self.vessels)


# From this volume on, a person fits into a vessel at least with head and arms; this project's choice.
LARGE_L: Final = 300.0

# General care; the label, the safety data sheet and local rules go before it.
GLASS: Final = "glass takes no pressure and breaks when lifted wet: never push wine into it with a shut lid; gloves"
# What gas and fermentation leave in a vessel has killed many who went in, and many who went in after them. Entry by the
# rules for permit-required confined spaces, such as 29 CFR 1910.146 (from memory).
_LARGE: Final = (
    "never climb, reach or lean into a tank or other large vessel that held wine or gas, not even to help somebody: "
    "one breath can drop you; clean it from outside, or follow the rules for confined spaces"
)
_OPENED_KEG: Final = "a keg may be under pressure: shut the gas and vent it before it is opened, with the room aired"


def large_caution(_: Body, vessels: NamedVessels) -> str:
    """Caution where somebody may lean into a vessel; "" where none is large enough."""
    return _LARGE if vessels.is_large else ""


def beyond_stamp(vessels: NamedVessels, pressure_kpa: float) -> tuple[str, ...]:
    """Warn where a gauge pressure [kPa] is more than what is stamped on a vessel."""
    return tuple(
        f"{pressure_kpa:g} kPa is more than the {vessel.max_pressure_kpa:g} kPa that are stamped on {vessel.id}: shut "
        "the gas, stand aside and let the pressure off slowly"
        for vessel in vessels.vessels
        if vessel.max_pressure_kpa is not None and pressure_kpa > vessel.max_pressure_kpa
    )


def opening_caution(_: Body, vessels: NamedVessels) -> str:
    """Caution where vessels are opened, or their wine is on the way; "" where none is due."""
    cautions = ((_LARGE, vessels.is_large), (GLASS, vessels.of_glass), (_OPENED_KEG, vessels.under_gas))
    return "; ".join(text for text, due in cautions if due)


# ---- the kind -------------------------------------------------------------------------------------------------------


def _lot_allowed(_: Any) -> LotRule:
    return _LOT_ALLOWED


def _no_problems(_: Draft) -> list[Problem]:
    return []


def _as_answered(_: Given, __: BodyData, ___: EntryContext, ____: int) -> tuple[str, ...]:
    return ()


def _nothing_known(_: Given, __: EntryContext, ___: int) -> BodyData:
    return {}


def _nothing_worked_out(_: Any) -> frozenset[str]:
    return frozenset()


def _as_stored(text: str) -> str:
    return text


def _no_spread(_: Any) -> str:
    return ""


def _no_caution(_: Any, __: NamedVessels) -> str:
    return ""


def _no_warnings(_: Any, __: NamedVessels) -> tuple[str, ...]:
    return ()


def _always(_: Any) -> bool:
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryKind(Generic[B]):
    """A kind of entry.

    name: as it is stored, and as the command calls it; body: the model of what such an entry says.

    Asking: ``says``, what it is for, in a line; ``example``, the options of a whole call; ``questions``, in the order
    in which they are asked, none for a kind with a command and a form of its own. ``known(given, context, at_ms)``:
    answers that hold already, by question: they are offered, and taken where one is needed. ``complete(given, data,
    context, at_ms)`` adds to the body's data what is more than a copy of one answer, and its notes, and gives warnings;
    it raises AnswersWrong. ``answered_by``: the question that a key of the body comes from where it does not have the
    key's name ("": the body as a whole). ``instead_of``: which former answers a new one replaces when an entry is
    amended, by its question. ``worked_out(body)``: the keys that follow from the others and from what is known then.
    ``judges_lines``: whether ``complete`` also has warnings about an entry of a file of which nothing is to be worked
    out.

    Naming: ``place`` and ``lot(body)`` say what it must name; ``problems(draft)``, what else is wrong with a draft by
    itself. Vessels in the body are its ``places``.

    Telling: ``words(body, lot)`` in one line, without time, person, place and remark; ``spread_words(body)``, the
    standard uncertainty of its result; ``result_units``, the quantities that it finds by themselves, with their units;
    ``caution(body, vessels)``, one sentence where something dangerous is handled; ``warnings(body, vessels)``, what can
    hardly be; ``shows_contents(body)``, whether it is worth a look what its vessels hold after it.

    Doing: ``ledger_step(entry, body, state_of, equipment)``, for kinds that change what vessels hold or what is known
    of it; one with objections still says what it would do.

    Reading: ``updated(text)`` turns the JSON that earlier versions stored into that of the body as it is now.
    """

    name: str
    body: type[B]
    says: str
    words: Callable[[B, str | None], str]
    example: str = ""
    questions: tuple[Question, ...] = ()
    complete: Callable[[Given, BodyData, EntryContext, int], tuple[str, ...]] = _as_answered
    known: Callable[[Given, EntryContext, int], BodyData] = _nothing_known
    answered_by: Mapping[str, str] = field(default_factory=dict)
    instead_of: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    worked_out: Callable[[B], frozenset[str]] = _nothing_worked_out
    judges_lines: bool = False
    place: PlaceRule = AT_A_VESSEL
    lot: Callable[[B], LotRule] = _lot_allowed
    problems: Callable[[Draft], list[Problem]] = _no_problems
    spread_words: Callable[[B], str] = _no_spread
    result_units: Mapping[str, str] = field(default_factory=dict)
    caution: Callable[[B, NamedVessels], str] = _no_caution
    warnings: Callable[[B, NamedVessels], tuple[str, ...]] = _no_warnings
    shows_contents: Callable[[B], bool] = _always
    ledger_step: Callable[[Entry, B, StateOf, Equipment], LedgerStep] | None = None
    updated: Callable[[str], str] = _as_stored

    def question(self, name: str) -> Question | None:
        """Find the question of that name."""
        return next((question for question in self.questions if question.name == name), None)
