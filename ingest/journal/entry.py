"""An entry of the journal, its draft, and the strike that crosses it out."""

from __future__ import annotations

__all__ = ["Draft", "Entry", "Place", "Strike", "kind_words"]

from dataclasses import dataclass

from ingest.journal.body import Body

Place = str


def kind_words(kind: str) -> str:
    """Give a kind's name as people read it: "first filling" for `first-filling`."""
    return kind.replace("-", " ")


@dataclass(frozen=True, slots=True)
class Strike:
    """An entry was crossed out: when (UTC ms), by whom, why; together_with: the entry whose strike or back-dating took
    this one along.
    """

    at_ms: int
    who: str
    reason: str
    together_with: int | None = None


class _Placed:
    """What speaks of places, by its own and by those that its body names."""

    __slots__ = ()
    body: Body
    place: Place | None
    lot: str | None

    @property
    def places(self) -> tuple[Place, ...]:
        """Every place that it speaks of, each once, its own first."""
        return tuple(dict.fromkeys((*(() if self.place is None else (self.place,)), *self.body.places)))

    @property
    def where(self) -> str:
        """Its place, else the vessels that its body names, else its lot; "" if it names none of these."""
        return self.place or ", ".join(self.body.places) or self.lot or ""


@dataclass(frozen=True, slots=True)
class Draft(_Placed):
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
class Entry(_Placed):
    """What a person wrote down.

    id: counts up and is never used again; at_ms: when it happened; written_ms: when it was written (both UTC ms);
    struck: who crossed it out, None while it holds; in_place_of: the first of the entries that it amends, among those
    of its time it counts where that one stood.
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
    in_place_of: int | None = None

    @property
    def key(self) -> tuple[int, int]:
        """Its place in the order in which things happened; of one time the one that was written first comes first."""
        return (self.at_ms, self.id if self.in_place_of is None else self.in_place_of)

    def __str__(self) -> str:
        return f"{kind_words(self.kind)} no. {self.id}" + (f" ({self.where})" if self.where else "")
