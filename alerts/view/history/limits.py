"""The setpoints that were in force, from when to when: by the cellar file that ran then, and now."""

from __future__ import annotations

__all__ = ["DatedLimits", "PlacedLimit", "dated_limits"]

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Final, Literal, NamedTuple

from alerts.limits.limits_now import limits_now
from alerts.view.format import value_text
from alerts.view.history.answer import LimitPiece
from alerts.view.history.subject import HistorySubject
from alerts.watch.journal_suppression import says_nothing_when_empty
from alerts.watch.own_limits import watched_limits
from ingest.cellar import Cellar, EffectiveLimit, parse_cellar
from ingest.errors import IngestError
from ingest.journal.equipment import Equipment
from ingest.store import Store
from ingest.store.cellar_files import cellar_files
from ingest.store.journal.stored_ledger import equipment_of

# Cellar files that were read; a file changes seldom, and reading one takes tens of milliseconds.
_KEPT: Final = 64
# Of a span with more changes of the file than this, the earlier ones are left out.
_MOST_FILES: Final = 12


class _Era(NamedTuple):
    """The limits on places by one cellar file, from from_ms to to_ms (UTC ms)."""

    from_ms: int
    to_ms: int
    limits: Mapping[str, EffectiveLimit]


class PlacedLimit(NamedTuple):
    """A limit, and the place that it is at as that is called now."""

    limit: EffectiveLimit
    place: str


@dataclass(frozen=True, slots=True)
class DatedLimits:
    """eras: of a span of time, in order, at least one; without limits where a file cannot be read any more. now: every
    limit as of now, those on wine included; equipment: how vessels were called; units: those of the site.
    """

    eras: tuple[_Era, ...]
    now: Mapping[str, EffectiveLimit]
    equipment: Equipment
    units: str

    @property
    def known(self) -> dict[str, PlacedLimit]:
        """Every limit by its key, each as it was last."""
        limits = {limit.key: placed for era in self.eras for limit, placed in self._of_era(era)}
        return {**limits, **{key: PlacedLimit(limit, limit.at) for key, limit in self.now.items()}}

    def pieces(self, subject: HistorySubject, quantity: str) -> list[LimitPiece]:
        """The setpoints on a quantity of what a history is of; those on wine as they are now, since that wine came.

        Those that say nothing of an empty vessel are left out while it was empty.
        """
        pieces: list[LimitPiece] = []
        begin_ms, end_ms = self.eras[0].from_ms, self.eras[-1].to_ms
        for vessel in subject.vessels:
            for era in self.eras:
                for from_ms, to_ms in subject.times_in(vessel, era.from_ms, era.to_ms):
                    filled = subject.without_empty(from_ms, to_ms)
                    for limit, placed in self._of_era(era):
                        if placed.place == vessel and _is_on(limit, quantity):
                            for part in filled if says_nothing_when_empty(limit) else [(from_ms, to_ms)]:
                                _append(pieces, placed, *part, self.units, dated=True)
            for from_ms, to_ms in subject.times_in(vessel, max(begin_ms, _came_ms(subject, vessel)), end_ms):
                for limit in self._on_wine():
                    if limit.at == vessel and _is_on(limit, quantity) and from_ms < to_ms:
                        _append(pieces, PlacedLimit(limit, vessel), from_ms, to_ms, self.units, dated=False)
        return pieces

    def _of_era(self, era: _Era) -> Iterator[tuple[EffectiveLimit, PlacedLimit]]:
        for limit in era.limits.values():
            yield limit, PlacedLimit(limit, self.equipment.name_now(limit.at, era.from_ms))

    def _on_wine(self) -> Iterator[EffectiveLimit]:
        """Those that no cellar file of the span has for the vessel itself."""
        return (limit for limit in self.now.values() if not any(limit.key in era.limits for era in self.eras))


def dated_limits(cellar: Cellar, store: Store, from_ms: int, to_ms: int, now_ms: int) -> DatedLimits:
    """Find the limits of a span of time [UTC ms]; call inside ``store.read()``."""
    ran = [(at_ms, text) for at_ms, text in cellar_files(store) if at_ms < to_ms]
    # Before the first file that is known, that one is as good as any.
    begins = [from_ms if number == 0 else max(at_ms, from_ms) for number, (at_ms, _) in enumerate(ran)]
    eras = []
    for (begin_ms, end_ms), (_, text) in zip(pairwise([*begins, to_ms]), ran, strict=True):
        if begin_ms < end_ms:
            eras.append((begin_ms, end_ms, text))
    if not eras:
        eras = [(from_ms, to_ms, cellar.text)]
    known = []
    for begin_ms, end_ms, text in eras[-_MOST_FILES:]:
        limits = watched_limits(cellar) if text == cellar.text else _limits_of(text, cellar.file, cellar.base)
        known.append(_Era(begin_ms, end_ms, limits))
    equipment = equipment_of(store.connection, cellar, now_ms)
    return DatedLimits(tuple(known), limits_now(cellar, store, now_ms), equipment, cellar.site.units)


@lru_cache(maxsize=_KEPT)
def _limits_of(text: str, file: str, base: Path) -> Mapping[str, EffectiveLimit]:
    """The limits of a file that ran once; none where it cannot be read as files are read now."""
    try:
        return watched_limits(parse_cellar(text, file=file, base=base))
    except IngestError:
        return {}


def _is_on(limit: EffectiveLimit, quantity: str) -> bool:
    return limit.quantity == quantity and limit.kind in ("low", "high")


def _append(
    pieces: list[LimitPiece], placed: PlacedLimit, from_ms: int, to_ms: int, units: str, *, dated: bool
) -> None:
    """Add a piece, or lengthen the one that it goes on from."""
    limit = placed.limit
    kind: Literal["low", "high"] = "low" if limit.kind == "low" else "high"
    text = f"{kind} {value_text(limit.quantity, limit.setpoint, units)}"
    piece = LimitPiece(limit.key, placed.place, kind, limit.setpoint, text, limit.priority, from_ms, to_ms, dated)
    for index, before in enumerate(pieces):
        if before == replace(piece, from_ms=before.from_ms, to_ms=from_ms):
            pieces[index] = replace(piece, from_ms=before.from_ms)
            return
    pieces.append(piece)


def _came_ms(subject: HistorySubject, vessel: str) -> int:
    """When the wine that is in a vessel now came there, 0 if nobody knows."""
    return max((stay.from_ms for stay in subject.stays if stay.vessel == vessel and stay.to_ms is None), default=0)
