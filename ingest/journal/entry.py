"""An entry of the journal, its draft, and the strike that crosses it out."""

from __future__ import annotations

__all__ = ["Draft", "Entry", "Place", "Result", "Strike", "places_of", "results_of"]

from dataclasses import dataclass
from typing import NamedTuple

from ingest.journal.analyses import MeasurementBody, TitrationBody
from ingest.journal.bodies import Kind
from ingest.journal.body import Body
from ingest.journal.movements import RackingBody, ToppingBody

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
    """What a person wants to write down. at_ms: when it happened (UTC ms); place: a vessel's, cylinder's or room's id;
    lot: a lot's id; body: of the kind's model.
    """

    kind: Kind
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
    kind: Kind
    at_ms: int
    written_ms: int
    who: str
    place: Place | None
    lot: str | None
    body: Body
    struck: Strike | None = None

    def __str__(self) -> str:
        where = self.place or ", ".join(places_of(self.place, self.body)) or self.lot
        return f"{self.kind} no. {self.id}" + (f" ({where})" if where else "")


class Result(NamedTuple):
    """A number that an entry adds to a history. quantity: free_so2, total_so2, pH, temperature, ...; u: standard
    uncertainty, None where nobody told it; both in the quantity's unit.
    """

    quantity: str
    value: float
    u: float | None


def places_of(place: Place | None, body: Body) -> tuple[Place, ...]:
    """Every place that an entry speaks of, each once: its own and those in its body."""
    found: list[str] = [] if place is None else [place]
    if isinstance(body, RackingBody):
        found += [drawn.vessel for drawn in body.sources] + [poured.vessel for poured in body.targets]
    elif isinstance(body, ToppingBody) and body.source is not None:
        found.append(body.source)
    return tuple(dict.fromkeys(found))


def results_of(body: Body) -> tuple[Result, ...]:
    """The numbers that an entry adds to histories.

    A titration below its blank adds 0 with its uncertainty: that nothing could be found is the news that matters most.
    """
    if isinstance(body, TitrationBody):
        if body.so2_mg_l is None and body.u_so2_mg_l is None:
            return ()
        return (Result(f"{body.quantity}_so2", body.so2_mg_l or 0.0, body.u_so2_mg_l),)
    if isinstance(body, MeasurementBody):
        return (Result(body.quantity, body.value, body.u_value),)
    return ()
