"""What an entry has to name: a place, a lot, and what is known of them, by the rules of its kind. Pure."""

from __future__ import annotations

__all__ = ["LATEST_AHEAD_MS", "draft_problems", "long_ago", "words_problems"]

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Final

from pydantic import TypeAdapter, ValidationError

from ingest.cellar import Identifier, nearest
from ingest.errors import Problem
from ingest.journal.body import Words, shown
from ingest.journal.entry import Draft
from ingest.journal.equipment import PlaceKinds
from ingest.journal.kinds import KINDS, unknown_kind
from ingest.journal.kinds.kind import VESSEL_KINDS, LotRule, PlaceRule
from ingest.journal.lots import Lots
from ingest.validation_words import allowed_words

# Clocks differ a little; beyond this nobody can have seen it yet.
LATEST_AHEAD_MS: Final = 5 * 60 * 1000

_YEAR_MS: Final = 365.25 * 86_400_000
# What happened longer ago is more likely a wrong date than a late entry (this project's choice).
_LONG_AGO_YEARS: Final = 5.0

# Limits say "any" for wine of whatever lot.
_RESERVED: Final = "any"
_LOT: Final[TypeAdapter[str]] = TypeAdapter(Identifier)
_WORDS: Final[TypeAdapter[str]] = TypeAdapter(Words)

# What finds whether an id is a keg, carboy, ..., cylinder, room; None for an id that no cellar file has.
PlaceKindOf = Callable[[str], str | None]


def draft_problems(
    draft: Draft,
    places: PlaceKinds,
    lots: Lots,
    now_ms: int,
) -> list[Problem]:
    """Find everything that is wrong with a draft by itself, whatever vessels hold.

    lots: those that an entry introduces; now_ms: UTC ms.
    """
    kind = KINDS.get(draft.kind)
    if kind is None:
        return [Problem("entry", "kind", shown(draft.kind), unknown_kind(draft.kind))]
    if not isinstance(draft.body, kind.body):
        return [Problem(kind.name, "", "", f"its body is one of another kind ({type(draft.body).__name__})")]
    problems = []
    if not draft.who.strip():
        problems.append(Problem(kind.name, "who", "", "is missing: say who did it"))
    problems += words_problems(kind.name, "who", draft.who)
    if draft.at_ms < 0:
        problems.append(Problem(kind.name, "at", str(draft.at_ms), "is before 1970"))
    if draft.at_ms > now_ms + LATEST_AHEAD_MS:
        ahead = _span(draft.at_ms - now_ms)
        problems.append(
            Problem(kind.name, "at", "", f"is {ahead} in the future; write down what has happened, not what will")
        )
    place_kind = places.at(draft.at_ms)
    return [
        *problems,
        *_place_problems(draft, kind.place, place_kind, places.names),
        *_body_place_problems(draft, place_kind, places.names),
        *kind.problems(draft),
        *_lot_problems(draft, kind.lot(draft.body), lots),
    ]


def _span(span_ms: int) -> str:
    """A span of time in the largest unit of which there are at least two."""
    minutes = span_ms / 60_000
    if minutes < 120:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 2880 else f"{minutes / 1440:.0f} days"


def long_ago(at_ms: int, now_ms: int) -> tuple[str, ...]:
    """Warn of an entry (UTC ms) that happened very long ago."""
    if now_ms - at_ms <= _LONG_AGO_YEARS * _YEAR_MS:
        return ()
    return (f"that was in {datetime.fromtimestamp(at_ms / 1000, UTC).year}: look at the date",)


def words_problems(name: str, key: str, text: str) -> list[Problem]:
    """Find whether a name or a reason is too long or cannot be read; an empty one is for others to refuse."""
    plain = text.strip()
    try:
        _WORDS.validate_python(plain or "-")
    except ValidationError as error:
        return [Problem(name, key, shown(plain), allowed_words(error.errors()[0]))]
    return []


def _not_there(id: str, names: Sequence[str]) -> str:
    """Say that no cellar file has an id, which one is meant, and which there are."""
    why = "is not in any cellar file of this store"
    near = nearest(id, names)
    known = f"there are: {', '.join(names)}" if names else "look at the id"
    return f"{why}; did you mean {near}?" if near else f"{why}; {known}"


def _place_problems(draft: Draft, rule: PlaceRule, place_kind: PlaceKindOf, names: Sequence[str]) -> list[Problem]:
    what = "a place"
    if rule.allowed == VESSEL_KINDS:
        what = "a vessel"
    elif "room" not in rule.allowed:
        what = "a vessel or a cylinder"
    why = ""
    if draft.place is None:
        if rule.needed:
            why = f"is missing: say at which vessel{'' if what == 'a vessel' else ' or cylinder'}"
        elif rule.or_lot and draft.lot is None:
            why = f"is missing: say {what}, or a lot"
    elif not rule.allowed:
        why = "an entry of this kind has no place of its own"
    elif (kind := place_kind(draft.place)) is None:
        why = _not_there(draft.place, names)
    elif kind not in rule.allowed:
        why = f"is a {kind}; this is about {what}"
    return [Problem(draft.kind, "place", "" if draft.place is None else shown(draft.place), why)] if why else []


def _body_place_problems(draft: Draft, place_kind: PlaceKindOf, names: Sequence[str]) -> list[Problem]:
    problems = []
    keys = dict(zip(draft.body.places, draft.body.place_keys, strict=True))
    for vessel, key in keys.items():
        kind = place_kind(vessel)
        if kind is None:
            problems.append(Problem(draft.kind, key, shown(vessel), _not_there(vessel, names)))
        elif kind not in VESSEL_KINDS:
            problems.append(Problem(draft.kind, key, shown(vessel), f"is a {kind}; this is about a vessel"))
    return problems


def _lot_problems(draft: Draft, rule: LotRule, lots: Lots) -> list[Problem]:
    kind, lot = draft.kind, draft.lot
    if lot is None:
        return [Problem(kind, "lot", "", rule.missing)] if rule.missing else []
    if rule.introduced:
        return _name_problems(kind, lot)
    if rule.refused:
        return [Problem(kind, "lot", shown(lot), rule.refused)]
    if lot not in lots:
        near = nearest(lot, lots.names)
        known = f"Did you mean {near}?" if near else f"Known: {', '.join(lots.names) or 'none yet'}"
        why = f"is described by no entry; write one of kind lot first. {known}"
        return [Problem(kind, "lot", shown(lot), why)]
    return []


def _name_problems(kind: str, lot: str) -> list[Problem]:
    if lot == _RESERVED:
        return [Problem(kind, "lot", shown(lot), "stands for every lot in limits; choose another id")]
    try:
        _LOT.validate_python(lot)
    except ValidationError as error:
        return [Problem(kind, "lot", shown(lot), allowed_words(error.errors()[0]))]
    return []
