"""From the journal's entries to the episodes of the gas over each wine: what was done, and what is known since. Pure.

An episode begins where the amount of gas or of wine changed. While a vessel is empty, out of use, or being racked, its
gas is not judged. A volume that was measured, or a lot's alcohol, changes nothing in the vessel: it corrects what was
known of the episode that lasts.
"""

from __future__ import annotations

__all__ = ["BlanketEpisode", "EpisodeFold", "Timeline", "episode_at"]

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from math import hypot
from operator import itemgetter
from typing import Final, NamedTuple

from alerts.blanket.setting import REFERENCE_C, BlanketSetting
from alerts.gas.blanket import Filling
from alerts.gas.blanket_facts import BlanketFacts, EpisodeCause, WineBefore
from alerts.gas.gases import ATMOSPHERE_KPA, blanket_gas
from ingest.cellar import Gas
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.kinds import ledger_step
from ingest.journal.kinds.addition import AdditionBody
from ingest.journal.kinds.bottling import BottlingBody
from ingest.journal.kinds.first_filling import FirstFillingBody
from ingest.journal.kinds.gas import GasBody
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.journal.kinds.racking import RackingBody
from ingest.journal.kinds.sample import SampleBody
from ingest.journal.kinds.topping import ToppingBody
from ingest.journal.ledger import Ledger
from ingest.journal.open_rackings import LONGEST_RACKING_MS
from ingest.journal.supply import Supply
from ingest.journal.vessel_state import UNKNOWN, VesselState

_DAY_MS: Final = 86_400_000
# After so long a wine holds as much of its blanket's gas as it will, by and large (a working default).
RESTING_MS: Final = 21 * _DAY_MS
# Of a vessel whose volume nobody wrote down, and of a wine whose alcohol nobody did (working defaults).
_NEARLY_FULL: Final = 0.93
_U_NEARLY_FULL: Final = 0.05
_USUAL_ALCOHOL: Final = 12.5
# How well a vessel's brimful volume is known, as a part of it; and how much headspace a brimful vessel still has.
_U_CAPACITY: Final = 0.01
_LEAST_HEADSPACE: Final = 0.002
_ALCOHOL_RANGE: Final = (0.0, 20.0)

# Of what was done at one moment, the first of these counts.
_STRONGEST: Final[tuple[EpisodeCause, ...]] = (
    "filled",
    "opened",
    "charged",
    "topped",
    "vented",
    "drawn",
    "probe changed",
)
# What is done with gas at a vessel. What is pushed over is written as a racking or a topping as well.
_ACTS: Final[dict[str, EpisodeCause]] = {
    "charged": "charged",
    "purged": "charged",
    "gas changed": "charged",
    "pushed": "charged",
    "vented": "vented",
}
_AIR: Final[dict[str | None, WineBefore]] = {"under gas": "under gas", "open": "from air"}


class BlanketEpisode(NamedTuple):
    """From at_ms (UTC ms) on: what began it, what is known since, and the kind of the entry, "" for none.

    facts: None where the gas is not judged; assumed: the volume of the wine is a guess; gas_by_journal: an entry says
    which gas is in the vessel.
    """

    at_ms: int
    cause: EpisodeCause
    facts: BlanketFacts | None
    kind: str = ""
    assumed: bool = False
    gas_by_journal: bool = False


Timeline = tuple[BlanketEpisode, ...]
"""The episodes of one vessel, oldest first; the first says what was known when it begins."""


def episode_at(timeline: Timeline, at_ms: int) -> int:
    """Find the place of the episode that lasts at a time, the first one before all of them."""
    return max(bisect_right(timeline, at_ms, key=lambda episode: episode.at_ms) - 1, 0)


class _VesselSoFar:
    """What is known of one vessel as the entries go by."""

    def __init__(self, gas: Gas | None, held_since_ms: int | None) -> None:
        # By the journal.
        self.gas = gas
        self.wine_before: WineBefore = "unknown"
        # None: since before the entries begin.
        self.wine_since_ms = held_since_ms
        self.racking_until_ms: int | None = None

    def before(self, at_ms: int) -> WineBefore:
        """Say how much of the gas the wine holds at a time."""
        if self.wine_since_ms is None or at_ms - self.wine_since_ms >= RESTING_MS:
            return "resting"
        return self.wine_before


class EpisodeFold:
    """Folds entries into episodes.

    settings: the vessels that are judged; ledger: what vessels hold; from_ms: where the timelines begin; supplies: of
    each vessel, oldest first; gases: what gas was in a vessel before from_ms where an entry says so.
    """

    def __init__(
        self,
        settings: Mapping[str, BlanketSetting],
        ledger: Ledger,
        from_ms: int,
        supplies: Mapping[str, Sequence[Supply]] | None = None,
        gases: Mapping[str, Gas] | None = None,
    ) -> None:
        self._settings = settings
        self._ledger = ledger
        self._supplies = supplies or {}
        self._states: dict[str, VesselState] = dict(ledger.before((from_ms, -1)))
        self._known = {
            vessel: _VesselSoFar((gases or {}).get(vessel), self._state(vessel).since_ms) for vessel in settings
        }
        self._timelines: dict[str, list[BlanketEpisode]] = {
            vessel: [self._episode(vessel, from_ms, "filled", "")] for vessel in settings
        }

    def _state(self, vessel: str) -> VesselState:
        return self._states.get(vessel, UNKNOWN)

    def timelines(self, entries: Sequence[Entry]) -> dict[str, Timeline]:
        """Take all entries from from_ms on, in the order in which they happened, and give each vessel's episodes."""
        finishes = {
            entry.body.begun: entry.at_ms
            for entry in entries
            if isinstance(entry.body, RackingBody) and entry.body.begun is not None
        }
        # (when, which of one moment goes first, what then happens)
        moments: list[tuple[int, int, Callable[[], None]]] = []
        for order, entry in enumerate(entries):
            moments.append((entry.at_ms, order, partial(self._take, entry, finishes)))
            if isinstance(entry.body, RackingBody) and entry.body.stage == "begun" and entry.id not in finishes:
                end_ms = entry.at_ms + LONGEST_RACKING_MS
                moments.append((end_ms, order, partial(self._forgotten, entry, end_ms)))
        for vessel, timeline in self._timelines.items():
            moments += [
                (supply.since_ms, len(entries), partial(self._begin, vessel, supply.since_ms, "charged", "gas"))
                for supply in self._supplies.get(vessel, ())
                if supply.since_ms is not None and supply.since_ms >= timeline[0].at_ms
            ]
        for _, _, happen in sorted(moments, key=itemgetter(0, 1)):
            happen()
        return {vessel: tuple(timeline) for vessel, timeline in self._timelines.items()}

    # ---- entries ------------------------------------------------------------------------------------------------

    def _take(self, entry: Entry, finishes: Mapping[int, int]) -> None:
        changes = ledger_step(entry, self._state, self._ledger.equipment).changes
        before = {vessel: self._state(vessel) for vessel in changes}
        self._states.update(changes)
        body = entry.body
        if isinstance(body, RackingBody) and body.stage == "begun":
            until_ms = finishes.get(entry.id, entry.at_ms + LONGEST_RACKING_MS)
            for vessel in entry.places:
                if vessel in self._settings:
                    self._known[vessel].racking_until_ms = until_ms
                    self._begin(vessel, entry.at_ms, "opened", entry.kind)
            return
        if isinstance(body, GasBody):
            self._gas(entry, body)
            return
        for vessel in entry.places:
            if vessel not in self._settings:
                continue
            if vessel in changes and changes[vessel] != before[vessel]:
                self._changed(vessel, entry, before[vessel], changes[vessel])
            elif isinstance(body, AdditionBody):
                self._begin(vessel, entry.at_ms, "opened", entry.kind)
            elif isinstance(body, RackingBody | BottlingBody | SampleBody):
                # Wine came or went, and nobody knows how much.
                self._begin(vessel, entry.at_ms, _went_out(entry), entry.kind)

    def _gas(self, entry: Entry, body: GasBody) -> None:
        vessel = entry.place
        if vessel is None or vessel not in self._settings:
            return
        if body.gas is not None:
            self._known[vessel].gas = body.gas
        cause = _ACTS.get(body.act)
        if cause is not None:
            self._begin(vessel, entry.at_ms, cause, entry.kind)

    def _changed(self, vessel: str, entry: Entry, before: VesselState, after: VesselState) -> None:
        """Take that what a vessel holds has changed."""
        known, at_ms, body = self._known[vessel], entry.at_ms, entry.body
        if isinstance(body, MeasurementBody) and after.known and not after.empty:
            self._correct(vessel, entry)
            return
        known.racking_until_ms = None if isinstance(body, RackingBody) else known.racking_until_ms
        held_wine = before.known and not before.empty
        came_in = _came_in(entry, vessel)
        if came_in and not held_wine:
            known.wine_since_ms = at_ms
            known.wine_before = self._wine_before(entry)
            self._begin(vessel, at_ms, "filled", entry.kind)
        elif came_in and isinstance(body, ToppingBody):
            self._begin(vessel, at_ms, "topped", entry.kind)
        elif came_in:
            known.wine_since_ms, known.wine_before = at_ms, "unknown"
            self._begin(vessel, at_ms, "topped", entry.kind)
        else:
            self._begin(vessel, at_ms, _went_out(entry), entry.kind)

    def _wine_before(self, entry: Entry) -> WineBefore:
        """Say how much of the gas a wine holds that comes into an empty vessel."""
        body = entry.body
        if not isinstance(body, RackingBody):
            return "unknown"
        known_way = _AIR.get(body.air)
        if known_way is not None:
            return known_way
        # Through closed hoses it keeps what it held.
        sources = [
            self._known[drawn.vessel].before(entry.at_ms) for drawn in body.sources if drawn.vessel in self._known
        ]
        is_full_of_gas = len(sources) == len(body.sources) and set(sources) <= {"resting", "under gas"}
        return "under gas" if body.air == "closed" and is_full_of_gas else "unknown"

    def _forgotten(self, entry: Entry, at_ms: int) -> None:
        """Take that a racking which was begun has not been finished for so long that it was forgotten."""
        for vessel in entry.places:
            known = self._known.get(vessel)
            if known is not None and known.racking_until_ms == at_ms:
                known.racking_until_ms = None
                self._begin(vessel, at_ms, "opened", entry.kind)

    # ---- episodes -----------------------------------------------------------------------------------------------

    def _begin(self, vessel: str, at_ms: int, cause: EpisodeCause, kind: str) -> None:
        timeline = self._timelines[vessel]
        last = timeline[-1]
        if len(timeline) > 1 and last.at_ms == at_ms:
            timeline.pop()
            cause, kind = min(((last.cause, last.kind), (cause, kind)), key=lambda each: _STRONGEST.index(each[0]))
        timeline.append(self._episode(vessel, at_ms, cause, kind))

    def _correct(self, vessel: str, entry: Entry) -> None:
        """Take what was measured for what was there since the episode began."""
        timeline = self._timelines[vessel]
        last = timeline[-1]
        if last.facts is None:
            self._begin(vessel, entry.at_ms, "filled", entry.kind)
            return
        better = self._episode(vessel, entry.at_ms, last.cause, last.kind)
        if better.facts is not None:
            timeline[-1] = last._replace(
                facts=replace(last.facts, filling=better.facts.filling, u_wine_l=better.facts.u_wine_l),
                assumed=better.assumed,
            )

    def _episode(self, vessel: str, at_ms: int, cause: EpisodeCause, kind: str) -> BlanketEpisode:
        setting, known, state = self._settings[vessel], self._known[vessel], self._state(vessel)
        is_racked = known.racking_until_ms is not None and at_ms < known.racking_until_ms
        gas = known.gas or setting.gas
        if is_racked or state.empty or state.out_of_use or gas is None:
            return BlanketEpisode(at_ms, cause, None, kind)
        contents = self._ledger.contents_of(vessel, state, at_ms)
        filling, u_wine_l, assumed = _filling(setting, contents)
        facts = BlanketFacts(
            filling=filling,
            gas=blanket_gas(gas),
            u_wine_l=u_wine_l,
            mounted=setting.mounted,
            floor_kpa=setting.floor_kpa,
            station_kpa=ATMOSPHERE_KPA if setting.station_kpa is None else setting.station_kpa,
            weather_moves=setting.is_gauge and setting.barometer is None,
            reference_c=REFERENCE_C,
            wine_before=known.before(at_ms) if state.known else "unknown",
            supply_open=self._is_open(vessel, at_ms),
        )
        return BlanketEpisode(at_ms, cause, facts, kind, assumed, known.gas is not None)

    def _is_open(self, vessel: str, at_ms: int) -> bool:
        is_open = False
        for supply in self._supplies.get(vessel, ()):
            if supply.since_ms is not None and supply.since_ms > at_ms:
                break
            is_open = supply.is_open
        return is_open


def _filling(setting: BlanketSetting, contents: Contents) -> tuple[Filling, float, bool]:
    """What is in a vessel, the standard uncertainty of its headspace [L], and whether that is a guess."""
    capacity_l = contents.capacity_l or setting.vessel.capacity_l
    assumed = not contents.known or contents.volume_l is None
    volume_l = _NEARLY_FULL * capacity_l if contents.volume_l is None else contents.volume_l
    u_volume_l = contents.u_volume_l
    if assumed or u_volume_l is None:
        u_volume_l = _U_NEARLY_FULL * capacity_l
    alcohol = contents.alcohol_percent_vol
    low, high = _ALCOHOL_RANGE
    filling = Filling(
        capacity_l,
        min(volume_l, (1.0 - _LEAST_HEADSPACE) * capacity_l),
        _USUAL_ALCOHOL if alcohol is None else min(max(alcohol, low), high),
        setting.walls,
    )
    return filling, hypot(u_volume_l, _U_CAPACITY * capacity_l), assumed


def _went_out(entry: Entry) -> EpisodeCause:
    """What it is for the gas that wine went out: in a racking or a bottling much goes, and gas or air follows."""
    return "opened" if isinstance(entry.body, RackingBody | BottlingBody) else "drawn"


def _came_in(entry: Entry, vessel: str) -> bool:
    """Whether wine came into the vessel, by the entry."""
    if isinstance(entry.body, RackingBody):
        return any(poured.vessel == vessel for poured in entry.body.targets)
    return entry.place == vessel and isinstance(entry.body, FirstFillingBody | ToppingBody)
