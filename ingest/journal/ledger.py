"""The ledger: what each vessel holds at any time, from the entries and the vessels of that time. Pure.

Entries count in the order in which they happened; two of the same time in the order in which they were written. Struck
entries do not count.
"""

from __future__ import annotations

__all__ = ["BEGINNING", "Ledger", "Snapshot"]

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Final, NamedTuple

from ingest.journal.contents import Contents, LotShare
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds import ledger_step, moves
from ingest.journal.lots import Lots
from ingest.journal.vessel_state import UNKNOWN, VesselState
from ingest.journal.wine import Wine, sum_known

# A snapshot after so many entries: what is between two of them is worked out in a millisecond or two.
_EVERY: Final = 256

# Wine of several lots has the style of its named lots if these are at least this part of it.
_MOSTLY: Final = 0.5


class Snapshot(NamedTuple):
    """What vessels hold after the entry of that place in the order (``Entry.key``): at_ms and id."""

    at_ms: int
    id: int
    states: Mapping[str, VesselState]


BEGINNING: Final = Snapshot(-1, -1, {})

_Key = tuple[int, int]


class Ledger:
    """Entries, one after the other, to what vessels hold at any time.

    It takes entries in any order, back-dated ones too, and strikes: what it says is always what a new one would say
    that is given all entries at once. base: a snapshot to begin at; entries that are not after it are passed over, and
    it cannot say what was before. every: how many entries lie between two snapshots.
    """

    def __init__(
        self,
        entries: Iterable[Entry] = (),
        equipment: Equipment | None = None,
        base: Snapshot = BEGINNING,
        every: int = _EVERY,
    ) -> None:
        self._every = every
        self.equipment = Equipment() if equipment is None else equipment
        self.lots = Lots()
        self.base = base
        moving = []
        for entry in entries:
            if entry.struck is None:
                self.lots.add(entry)
                if moves(entry) and entry.key > base[:2]:
                    moving.append(self.named(entry))
        moving.sort(key=_key)
        self._entries = moving
        self._keys = [_key(entry) for entry in moving]
        # (how many entries are in it, what vessels hold after those), oldest first
        self._snapshots: list[tuple[int, Mapping[str, VesselState]]] = [(0, base.states)]

    def named(self, entry: Entry) -> Entry:
        """Give the entry with vessels called as they are now."""
        if not self.equipment.renames:
            return entry
        return _renamed(entry, self.equipment)

    def add(self, entry: Entry) -> None:
        """Take one more entry."""
        if entry.struck is not None:
            return
        self.lots.add(entry)
        if moves(entry):
            index = bisect_left(self._keys, _key(entry))
            self._keys.insert(index, _key(entry))
            self._entries.insert(index, self.named(entry))
            self._forget_after(index)

    def strike(self, entry_id: int) -> None:
        """Let an entry no longer count; one that is not here never did."""
        self.lots.remove(entry_id)
        for index, entry in enumerate(self._entries):
            if entry.id == entry_id:
                del self._entries[index], self._keys[index]
                self._forget_after(index)
                return

    def _forget_after(self, count: int) -> None:
        while self._snapshots[-1][0] > count:
            self._snapshots.pop()

    def before(self, key: _Key) -> dict[str, VesselState]:
        """Work out what vessels hold before the entry of that place in the order (at_ms, id)."""
        return self._states(bisect_left(self._keys, key))

    def after(self, key: _Key) -> Iterator[Entry]:
        """Go through the entries from that place in the order on, it included."""
        return iter(self._entries[bisect_left(self._keys, key) :])

    def snapshot(self, count: int) -> Snapshot:
        """Take a snapshot after the first ``count`` entries."""
        return Snapshot(*self._keys[count - 1], self._states(count)) if count else self.base

    def __len__(self) -> int:
        return len(self._entries)

    def _states(self, count: int) -> dict[str, VesselState]:
        """What vessels hold after the first ``count`` entries."""
        index = bisect_right(self._snapshots, count, key=lambda snapshot: snapshot[0]) - 1
        done, known = self._snapshots[index]
        states = dict(known)
        get = states.get
        for entry in self._entries[done:count]:
            states.update(ledger_step(entry, lambda vessel: get(vessel, UNKNOWN), self.equipment).changes)
            done += 1
            if done % self._every == 0 and done > self._snapshots[-1][0]:
                self._snapshots.append((done, dict(states)))
        return states

    def states_at(self, at_ms: int) -> dict[str, VesselState]:
        """Work out what vessels hold at a time, entries of that very time included; those that no entry names are
        missing.
        """
        return self._states(bisect_right(self._keys, at_ms, key=lambda key: key[0]))

    def at(self, at_ms: int) -> dict[str, Contents]:
        """Work out what vessels hold at a time (UTC ms): those of the cellar file of that time, and those that entries
        name.
        """
        states = self.states_at(at_ms)
        for vessel in self.equipment.vessels_at(at_ms):
            states.setdefault(vessel, UNKNOWN)
        return {vessel: self.contents_of(vessel, state, at_ms) for vessel, state in states.items()}

    def contents(self, vessel: str, at_ms: int) -> Contents:
        """Work out what one vessel holds at a time."""
        return self.contents_of(vessel, self.states_at(at_ms).get(vessel, UNKNOWN), at_ms)

    def empty_at(self, at_ms: int) -> frozenset[str]:
        """Find the vessels that are known to be empty at a time."""
        return frozenset(vessel for vessel, state in self.states_at(at_ms).items() if state.empty)

    def contents_of(self, vessel: str, state: VesselState, at_ms: int) -> Contents:
        """Give what a vessel holds, by its state at a time."""
        capacity = self.equipment.capacity_l(vessel, at_ms)
        if not state.known:
            return Contents(
                vessel, False, capacity_l=capacity, last_topping_ms=state.topped_ms, out_of_use=state.out_of_use
            )
        wine = state.wine
        lots = [None if lot is None else self.lots.of(lot, at_ms) for lot, _ in wine.parts]
        alcohol, sugar, style = wine.alcohol, None, None
        if not state.empty:
            if alcohol is None:
                alcohols = [wine.foreign_alcohol if lot is None else lot.alcohol_percent_vol for lot in lots]
                alcohol = _by_share(wine, alcohols)
            sugar = _by_share(wine, [None if lot is None else lot.sugar_g_l for lot in lots])
            style = _style(wine, [None if lot is None else lot.style for lot in lots])
        return Contents(
            vessel=vessel,
            known=True,
            lots=tuple(LotShare(lot, share, lot is None and wine.foreign_is_bought) for lot, share in wine.parts),
            volume_l=state.volume_l,
            u_volume_l=state.u_l,
            capacity_l=capacity,
            headspace_l=None if capacity is None or state.volume_l is None else max(capacity - state.volume_l, 0.0),
            since_ms=state.since_ms,
            last_racking_ms=state.racked_ms,
            last_topping_ms=state.topped_ms,
            alcohol_percent_vol=alcohol,
            sugar_g_l=sugar,
            style=style,
            free_so2=wine.free,
            total_so2=wine.total,
            past_free_so2=wine.past_free,
            past_total_so2=wine.past_total,
            out_of_use=state.out_of_use,
        )


def _key(entry: Entry) -> _Key:
    return entry.key


def _by_share(wine: Wine, values: list[float | None]) -> float | None:
    """The mean by share, None if a share or a value that counts is not known."""
    if not wine.parts:
        return None
    if len(wine.parts) == 1:
        return values[0]
    return sum_known(
        None if share is None or value is None else share * value
        for (_, share), value in zip(wine.parts, values, strict=True)
    )


def _style(wine: Wine, styles: list[str | None]) -> str | None:
    """The style that all lots have which make up most of the wine."""
    named = {style for style in styles if style is not None}
    shares = [share for (_, share), style in zip(wine.parts, styles, strict=True) if style is not None]
    if len(named) != 1 or (len(shares) < len(styles) and (sum_known(shares) or 0.0) < _MOSTLY):
        return None
    return named.pop()


def _renamed(entry: Entry, equipment: Equipment) -> Entry:
    def name_now(vessel: str) -> str:
        return equipment.name_now(vessel, entry.written_ms)

    place = None if entry.place is None else name_now(entry.place)
    return replace(entry, place=place, body=entry.body.renamed(name_now))
