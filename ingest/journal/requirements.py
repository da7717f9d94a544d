"""What an entry of each kind has to name: a place, a lot, and what is known of them. Pure."""

from __future__ import annotations

__all__ = ["LATEST_AHEAD_MS", "draft_problems", "words_problems"]

from collections.abc import Callable, Container, Iterable
from typing import Final

from pydantic import TypeAdapter, ValidationError

from ingest.cellar import Identifier
from ingest.errors import Problem
from ingest.journal.bodies import BODIES, Kind, shown
from ingest.journal.body import Words
from ingest.journal.entry import Draft, places_of
from ingest.journal.movements import RackingBody, ToppingBody

# Clocks differ a little; beyond this nobody can have seen it yet.
LATEST_AHEAD_MS: Final = 5 * 60 * 1000

PlaceKind = str
_VESSEL: Final = frozenset({"keg", "carboy", "barrel", "tank", "bottle"})
_ANY: Final = _VESSEL | {"cylinder", "room"}
_NONE: Final[frozenset[PlaceKind]] = frozenset()

# What kind of place an entry may have, and whether it must have one.
_PLACE: Final[dict[Kind, tuple[frozenset[PlaceKind], bool]]] = {
    "lot": (_NONE, False),
    "fill": (_VESSEL, True),
    "titration": (_VESSEL, False),
    "titrant": (_NONE, False),
    "measurement": (_ANY, False),
    "addition": (_VESSEL, True),
    "racking": (_NONE, False),
    "topping": (_VESSEL, True),
    "sample": (_VESSEL, True),
    "gas": (_VESSEL | {"cylinder"}, True),
    "look": (_VESSEL, True),
    "bottling": (_VESSEL, True),
    "calibration": (_ANY, False),
    "state": (_VESSEL, True),
}
_PLACE_OR_LOT: Final = frozenset({"titration", "measurement"})
# Limits say "any" for wine of whatever lot.
_RESERVED: Final = "any"
_LOT: Final[TypeAdapter[str]] = TypeAdapter(Identifier)
_WORDS: Final[TypeAdapter[str]] = TypeAdapter(Words)


def draft_problems(
    draft: Draft,
    place_kind: Callable[[str], PlaceKind | None],
    lots: Container[str],
    lot_names: Iterable[str],
    now_ms: int,
) -> list[Problem]:
    """Everything that is wrong with a draft by itself, whatever vessels hold.

    place_kind: keg, carboy, ..., cylinder, room, or None for an id that no cellar file has; lots: those that an entry
    tells of; now_ms: UTC ms.
    """
    kind = draft.kind
    if not isinstance(draft.body, BODIES[kind]):
        return [Problem(kind, "", "", f"its body is one of another kind ({type(draft.body).__name__})")]
    problems = []
    if not draft.who.strip():
        problems.append(Problem(kind, "who", "", "is missing: say who did it"))
    problems += words_problems(kind, "who", draft.who)
    if draft.at_ms < 0:
        problems.append(Problem(kind, "at", str(draft.at_ms), "is before 1970"))
    if draft.at_ms > now_ms + LATEST_AHEAD_MS:
        ahead = _span(draft.at_ms - now_ms)
        problems.append(
            Problem(kind, "at", "", f"is {ahead} in the future; write down what has happened, not what will")
        )
    return problems + _place_problems(draft, place_kind) + _lot_problems(draft, lots, lot_names)


def _span(span_ms: int) -> str:
    """A span of time in the largest unit of which there are at least two."""
    minutes = span_ms / 60_000
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 2880 else f"{minutes / 1440:.0f} days"


def words_problems(name: str, key: str, text: str) -> list[Problem]:
    """Whether a name or a reason is too long, or holds what cannot be read; an empty one is for others to tell."""
    plain = text.strip()
    try:
        _WORDS.validate_python(plain or "-")
    except ValidationError as error:
        first = error.errors()[0]
        why = str(first["msg"]).removeprefix("Value error, ")
        if first["type"] == "string_unicode":
            why = "holds half a character, which no text can keep"
        return [Problem(name, key, shown(plain), why)]
    return []


def _place_problems(draft: Draft, place_kind: Callable[[str], PlaceKind | None]) -> list[Problem]:
    kind, place = draft.kind, draft.place
    allowed, needed = _PLACE[kind]
    what = "a vessel" if allowed == _VESSEL else "a vessel or a cylinder" if "room" not in allowed else "a place"
    problems = []
    if place is None and needed:
        problems.append(
            Problem(kind, "place", "", f"is missing: say at which vessel{'' if what == 'a vessel' else ' or cylinder'}")
        )
    elif place is None and kind in _PLACE_OR_LOT and draft.lot is None:
        problems.append(Problem(kind, "place", "", f"is missing: say {what}, or a lot"))
    elif place is not None:
        found = place_kind(place)
        if not allowed:
            problems.append(Problem(kind, "place", shown(place), "an entry of this kind has no place of its own"))
        elif found is None:
            problems.append(Problem(kind, "place", shown(place), "no cellar file of this store has it; look at the id"))
        elif found not in allowed:
            problems.append(Problem(kind, "place", shown(place), f"is a {found}; this is about {what}"))
    for vessel in places_of(None, draft.body):
        found = place_kind(vessel)
        if found is None:
            problems.append(
                Problem(kind, "vessel", shown(vessel), "no cellar file of this store has it; look at the id")
            )
        elif found not in _VESSEL:
            problems.append(Problem(kind, "vessel", shown(vessel), f"is a {found}; this is about a vessel"))
    if isinstance(draft.body, ToppingBody) and draft.body.source is not None and draft.body.source == place:
        problems.append(Problem(kind, "source", shown(place), "a vessel cannot be topped up from itself"))
    return problems


def _lot_problems(draft: Draft, lots: Container[str], lot_names: Iterable[str]) -> list[Problem]:
    kind, lot = draft.kind, draft.lot
    body = draft.body
    own = isinstance(body, ToppingBody) and body.source is None and body.bought is None
    if lot is None:
        if kind == "topping" and own:
            return [Problem(kind, "lot", "", "is missing: say a vessel it came from, bought bottles, or its lot")]
        return [Problem(kind, "lot", "", "is missing: say which lot")] if kind in ("lot", "fill") else []
    if kind == "lot":
        return _name_problems(lot)
    if isinstance(body, RackingBody) or (kind == "topping" and not own):
        return [Problem(kind, "lot", shown(lot), "is not told here: the vessels say which wine it is")]
    if lot not in lots:
        known = ", ".join(lot_names) or "none yet"
        return [
            Problem(kind, "lot", shown(lot), f"no entry tells of this lot; write one of kind lot first. Known: {known}")
        ]
    return []


def _name_problems(lot: str) -> list[Problem]:
    if lot == _RESERVED:
        return [Problem("lot", "lot", shown(lot), "stands for every lot in limits; choose another id")]
    try:
        _LOT.validate_python(lot)
    except ValidationError as error:
        return [Problem("lot", "lot", shown(lot), str(error.errors()[0]["msg"]).removeprefix("Value error, "))]
    return []
