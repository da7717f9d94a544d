"""An entry of the journal, its draft, and the strike that crosses it out."""

from __future__ import annotations

__all__ = ["Draft", "Entry", "Place", "Strike", "places_of"]

from dataclasses import dataclass

from ingest.journal.body import Body

Place = str


@dataclass(frozen=True, slots=True)
class Strike:
    """An entry was crossed out: when (UTC ms), by whom, why; together_with: the entry whose strike or back-dating took
    this one along.
    """

    at_ms: int
    who: str
    reason: str
    together_with: int | None = None


@dataclass(frozen=True, slots=True)
class Draft:
    """What a person wants to write down. kind: its name; at_ms: when it happened (UTC ms); place: a vessel's,
    cylinder's or room's id; lot: a lot's id; body: of the kind's model.
    """

    kind: str
    at_ms: int
    who: str
    body: Body
    place: Place | None = None
    lot: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """What a person wrote down.

    id: counts up and is never used again; at_ms: when it happened; written_ms: when it was written (both UTC ms);
    struck: who crossed it out, None while it holds.
    """

    id: int
    kind: str
    at_ms: int
    written_ms: int
    who: str
    place: Place | None
    lot: str | None
    body: Body
    struck: Strike | None = None

    def __str__(self) -> str:
        where = self.place or ", ".join(self.body.places) or self.lot
        return f"{self.kind} no. {self.id}" + (f" ({where})" if where else "")


def places_of(place: Place | None, body: Body) -> tuple[Place, ...]:
    """List every place that an entry speaks of, each once: its own and those in its body."""
    return tuple(dict.fromkeys((*(() if place is None else (place,)), *body.places)))
