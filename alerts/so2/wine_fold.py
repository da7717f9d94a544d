"""From the journal's entries to what is known of the wine in each vessel, entry by entry in their order. Pure.

A racking of all wine takes its history along; a partial one leaves it in both vessels. In a blend the larger part's
history goes on, and the others are wine that was mixed in. An emptied vessel has none.
"""

from __future__ import annotations

__all__ = ["ESTIMATED_SHARE", "WineFold"]

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import hypot
from typing import Final, NamedTuple

from alerts.so2.wine_facts import HandValue, So2Fact, WineFacts, vessel_loss
from alerts.wine.so2_history import (
    OXYGEN_BY_RACKING,
    FreeTitrated,
    LossPrior,
    OxygenUptake,
    So2Added,
    WineMixedIn,
    WineRacked,
)
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds import ledger_step
from ingest.journal.kinds.addition import AdditionBody, so2_added_g
from ingest.journal.kinds.first_filling import FirstFillingBody
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.journal.kinds.racking import RackingBody, drawn_l
from ingest.journal.kinds.titration import TitrationBody
from ingest.journal.kinds.topping import ToppingBody
from ingest.journal.ledger import Ledger
from ingest.journal.vessel_state import UNKNOWN, VesselState

# Wine that is a larger share of the blend than this has an estimate of its own; of less, the rough value will do: 10
# mg/L more or less in it are then half a mg/L in the whole.
ESTIMATED_SHARE: Final = 0.05
# What is found of a lot speaks for a vessel in which it is at least this share.
_MOSTLY: Final = 0.5
# Shares where the journal does not give the volumes: of a topping, and of any other blend (working defaults).
_UNKNOWN_TOPPING: Final = 0.03
_UNKNOWN_BLEND: Final = 0.5
# A vessel whose volume nobody wrote down is taken to be nearly full, give or take (working defaults).
_NEARLY_FULL: Final = 0.93
_U_NEARLY_FULL: Final = 0.08
# Weighing the salt or pipetting the solution: standard uncertainty as a part of the addition (a working default).
_U_MEASURED_OUT: Final = 0.03
# Free SO2 on the label of bought bottles: they have aged since [mg/L, a working default].
_U_LABEL_MG_L: Final = 6.0
# What was found of a lot before it came into a vessel counts if it is not older than this.
_DAY_MS: Final = 86_400_000
_BEFORE_FILL_MS: Final = 30 * _DAY_MS
# Numbers beyond these are slips of the pen, with their own warning when they were written [mg/L].
_MOST_MG_L: Final = 1000.0
_LEAST_U_MG_L: Final = 0.1


class _BlendPart(NamedTuple):
    """A part of what a vessel holds after wine came in; resident: it was there before."""

    share: float
    wine: WineFacts
    resident: bool


class WineFold:
    """All entries of a ledger, in the order in which they happened. wines: what is known of the wine in each vessel;
    states: what each holds after them.
    """

    def __init__(self, ledger: Ledger) -> None:
        self.wines: dict[str, WineFacts] = {}
        self.states: dict[str, VesselState] = {}
        self._lots = ledger.lots
        self._equipment: Equipment = ledger.equipment
        self._of_lots: dict[str, list[So2Fact]] = {}
        self._ph_of_lots: dict[str, list[HandValue]] = {}
        self._ways: Mapping[str, Callable[[Entry, Mapping[str, VesselState]], None]] = {
            "titration": self._titrated,
            "measurement": self._measured,
            "addition": self._added,
            "first-filling": self._filled,
            "topping": self._topped,
            "racking": self._racked,
        }
        for entry in ledger.after((-1, -1)):
            self._take(entry)

    def _take(self, entry: Entry) -> None:
        changes = ledger_step(entry, self.state, self._equipment).changes
        way = self._ways.get(entry.kind)
        if way is not None:
            way(entry, changes)
        self.states.update(changes)
        for vessel, state in changes.items():
            if state.empty:
                self.wines.pop(vessel, None)

    def state(self, vessel: str) -> VesselState:
        """Give what a vessel holds after all entries."""
        return self.states.get(vessel, UNKNOWN)

    def _loss(self, vessel: str, at_ms: int) -> LossPrior:
        known = self._equipment.vessel(vessel, at_ms)
        return vessel_loss(None if known is None else known.kind)

    def _wine(self, vessel: str, at_ms: int) -> WineFacts:
        """What is known of a vessel's wine; nothing yet where the journal never said that any came in."""
        return self.wines.get(vessel) or WineFacts.begun(at_ms, vessel, self._loss(vessel, at_ms))

    def _vessels(self, entry: Entry) -> list[str]:
        """The vessels whose wine something was found of: the entry's own, or those that its lot is most of."""
        if entry.place is not None:
            return [entry.place]
        return [
            vessel
            for vessel, state in self.states.items()
            if any(lot == entry.lot and (share or 0.0) >= _MOSTLY for lot, share in state.wine.parts)
        ]

    # ---- what was found -----------------------------------------------------------------------------------------

    def _titrated(self, entry: Entry, _: Mapping[str, VesselState]) -> None:
        body = entry.body
        if not isinstance(body, TitrationBody) or body.quantity != "free":
            return
        found = body.found_mg_l
        if found is None:
            return
        if found > _MOST_MG_L:
            remark = f"{found:.0f} mg/L free SO2 was written down, which no wine has: it counts for nothing; strike it"
            for vessel in self._vessels(entry):
                wine = self._wine(vessel, entry.at_ms)
                self.wines[vessel] = replace(wine, remarks=(*wine.remarks, remark))
            return
        u_mg_l = None if body.u_so2_mg_l is None else min(max(body.u_so2_mg_l, _LEAST_U_MG_L), _MOST_MG_L)
        self._found(entry, FreeTitrated(entry.at_ms, found, u_mg_l), frees_bound=body.method != "elsewhere")

    def _found(self, entry: Entry, titrated: FreeTitrated, *, frees_bound: bool) -> None:
        vessels = self._vessels(entry)
        for vessel in vessels:
            upper_bound = frees_bound and self._is_red(vessel, entry)
            fact = So2Fact("titration", titrated, upper_bound=upper_bound)
            self.wines[vessel] = self._wine(vessel, entry.at_ms).with_fact(fact)
        if not vessels and entry.lot is not None:
            said = self._lots.of(entry.lot, entry.at_ms)
            upper_bound = frees_bound and said is not None and said.style == "red"
            self._of_lots.setdefault(entry.lot, []).append(So2Fact("titration", titrated, upper_bound=upper_bound))

    def _is_red(self, vessel: str, entry: Entry) -> bool:
        parts = self.state(vessel).wine.parts or ((entry.lot, 1.0),)
        red = 0.0
        for lot, share in parts:
            said = None if lot is None else self._lots.of(lot, entry.at_ms)
            red += (share or 0.0) if said is not None and said.style == "red" else 0.0
        return red >= _MOSTLY

    def _measured(self, entry: Entry, _: Mapping[str, VesselState]) -> None:
        body = entry.body
        if not isinstance(body, MeasurementBody):
            return
        quantity = body.quantity.lower().replace(" ", "_")
        if quantity == "free_so2" and body.unit in ("mg/L", "mg/l", "ppm") and 0.0 <= body.value <= _MOST_MG_L:
            u_mg_l = None if body.u_value is None else max(body.u_value, _LEAST_U_MG_L)
            self._found(entry, FreeTitrated(entry.at_ms, body.value, u_mg_l), frees_bound=False)
        elif quantity in ("ph", "temperature"):
            self._measured_by_hand(entry, quantity, HandValue(entry.at_ms, body.value, body.u_value))

    def _measured_by_hand(self, entry: Entry, quantity: str, value: HandValue) -> None:
        vessels = self._vessels(entry)
        for vessel in vessels:
            wine = self._wine(vessel, entry.at_ms)
            if quantity == "ph":
                self.wines[vessel] = replace(wine, phs=(*wine.phs, value))
            elif vessel in self.wines:
                self.wines[vessel] = replace(wine, temperatures=(*wine.temperatures, value))
        if entry.lot is not None and quantity == "ph":
            self._ph_of_lots.setdefault(entry.lot, []).append(value)

    # ---- what was done ------------------------------------------------------------------------------------------

    def _added(self, entry: Entry, _: Mapping[str, VesselState]) -> None:
        body, vessel = entry.body, entry.place
        if not isinstance(body, AdditionBody) or vessel is None:
            return
        so2_g = so2_added_g(body) if body.so2_g is None else body.so2_g
        if not so2_g:
            return
        state, remark = self.state(vessel), ""
        volume_l, u_l = state.volume_l, state.u_l
        if not volume_l:
            capacity_l = self._equipment.capacity_l(vessel, entry.at_ms)
            if capacity_l is None:
                return
            volume_l, u_l = _NEARLY_FULL * capacity_l, _U_NEARLY_FULL * capacity_l
            remark = f"how much wine {vessel} holds is not known: the addition is worked out as if it were nearly full"
        u_share = min(hypot(_U_MEASURED_OUT, (u_l or 0.0) / volume_l), 1.0)
        added = So2Added(entry.at_ms, min(1000.0 * so2_g / volume_l, _MOST_MG_L), u_share)
        fact = So2Fact("addition", added, remark=remark)
        self.wines[vessel] = self._wine(vessel, entry.at_ms).with_fact(fact)

    def _filled(self, entry: Entry, changes: Mapping[str, VesselState]) -> None:
        body, vessel = entry.body, entry.place
        if not isinstance(body, FirstFillingBody) or vessel is None:
            return
        wine = self._wine_of_lot(entry.lot, vessel, entry.at_ms)
        found = self.wines.get(vessel)
        if found is not None and not self.state(vessel).known and found.begin_ms >= entry.at_ms - _DAY_MS:
            # Dates without a time all mean noon: what was found of the vessel's wine that day is of this wine.
            wine = found.before(wine)
        self._received(entry, vessel, changes, [(None, wine)], None)

    def _wine_of_lot(self, lot: str | None, vessel: str, at_ms: int) -> WineFacts:
        """Wine that comes from no vessel: with what was found of its lot shortly before."""
        facts = [
            fact for fact in self._of_lots.get(lot or "", ()) if at_ms - _BEFORE_FILL_MS <= fact.effect.at_ms <= at_ms
        ]
        begin_ms = min([at_ms, *(fact.effect.at_ms for fact in facts)])
        wine = WineFacts.begun(begin_ms, vessel, self._loss(vessel, at_ms))
        for fact in facts:
            wine = wine.with_fact(fact)
        return replace(wine, phs=tuple(self._ph_of_lots.get(lot or "", ())))

    def _topped(self, entry: Entry, changes: Mapping[str, VesselState]) -> None:
        body, vessel = entry.body, entry.place
        if not isinstance(body, ToppingBody) or vessel is None:
            return
        at_ms = entry.at_ms
        if body.source is not None:
            wine = self._wine(body.source, at_ms)
        else:
            wine = self._wine_of_lot(entry.lot, vessel, at_ms)
        if body.bought is not None and body.bought.free_so2_mg_l is not None:
            label = FreeTitrated(at_ms, min(body.bought.free_so2_mg_l, _MOST_MG_L), _U_LABEL_MG_L)
            wine = wine.with_fact(So2Fact("topping", label))
        volume_l = body.volume_l
        if volume_l is None and body.bought is not None:
            volume_l = body.bought.number * body.bought.size_l
        self._received(entry, vessel, changes, [(volume_l, wine)], None)

    def _racked(self, entry: Entry, changes: Mapping[str, VesselState]) -> None:
        body = entry.body
        if not isinstance(body, RackingBody) or body.stage != "done":
            return
        sources = {drawn.vessel: self.state(drawn.vessel) for drawn in body.sources}
        streams = [
            (volume, self._wine(drawn.vessel, entry.at_ms))
            for drawn, volume in zip(body.sources, drawn_l(body, sources), strict=True)
        ]
        for poured in body.targets:
            self._received(entry, poured.vessel, changes, streams, OXYGEN_BY_RACKING[body.air or "closed"])

    # ---- wine that came in --------------------------------------------------------------------------------------

    def _received(
        self,
        entry: Entry,
        vessel: str,
        changes: Mapping[str, VesselState],
        streams: Sequence[tuple[float | None, WineFacts]],
        oxygen: OxygenUptake | None,
    ) -> None:
        """Let wine come into a vessel. streams: each a volume [L, None if not known] and its wine; oxygen: taken up on
        the way, None where the wine came from no vessel or in a topping.
        """
        parts = self._parts(entry, vessel, changes, streams)
        if not parts:
            return
        # The largest part's history goes on; of two that are alike, the one that was there.
        main = max(parts, key=lambda part: (part.share, part.resident))
        wine, at_ms, loss = main.wine, entry.at_ms, self._loss(vessel, entry.at_ms)
        if not main.resident and wine.stays[-1].vessel != vessel:
            racked = WineRacked(at_ms, oxygen or OXYGEN_BY_RACKING["closed"], loss)
            wine = wine.moved(So2Fact(entry.kind, racked), vessel, loss)
        whole = main.share
        for part in parts:
            if part is not main and part.share > 0.0:
                whole += part.share
                wine = wine.with_fact(self._mixed_in(entry, part, part.share / whole, oxygen))
        self.wines[vessel] = wine

    def _parts(
        self,
        entry: Entry,
        vessel: str,
        changes: Mapping[str, VesselState],
        streams: Sequence[tuple[float | None, WineFacts]],
    ) -> list[_BlendPart]:
        before, after = self.state(vessel), changes.get(vessel)
        if after is None or after is before:
            return []
        holds_wine = before.known and not before.empty
        stays = holds_wine or entry.kind == "topping" or bool(getattr(entry.body, "blend", False))
        resident_share = self._resident_share(entry, vessel, before, after, streams) if stays else 0.0
        volumes = [volume for volume, _ in streams]
        known = [volume for volume in volumes if volume is not None]
        whole = sum(known)
        shares = [
            1.0 / len(streams) if len(known) < len(streams) or whole <= 0.0 else (volume or 0.0) / whole
            for volume in volumes
        ]
        parts = [
            _BlendPart((1.0 - resident_share) * share, wine, resident=False)
            for share, (_, wine) in zip(shares, streams, strict=True)
        ]
        if stays:
            parts.append(_BlendPart(resident_share, self._wine(vessel, entry.at_ms), resident=True))
        return parts

    def _resident_share(
        self,
        entry: Entry,
        vessel: str,
        before: VesselState,
        after: VesselState,
        streams: Sequence[tuple[float | None, WineFacts]],
    ) -> float:
        """What was there already, as a share of what is there now."""
        if before.volume_l is not None and after.volume_l:
            return min(before.volume_l / after.volume_l, 1.0)
        if entry.kind != "topping":
            return 1.0 - _UNKNOWN_BLEND
        capacity_l, volume_l = self._equipment.capacity_l(vessel, entry.at_ms), streams[0][0]
        if capacity_l is None or volume_l is None:
            return 1.0 - _UNKNOWN_TOPPING
        return max(1.0 - volume_l / (_NEARLY_FULL * capacity_l), 0.0)

    def _mixed_in(self, entry: Entry, part: _BlendPart, share: float, oxygen: OxygenUptake | None) -> So2Fact:
        rough = part.wine.rough_at(entry.at_ms)
        mixed = WineMixedIn(entry.at_ms, min(share, 1.0), min(rough.mg_l, _MOST_MG_L), min(rough.u_mg_l, _MOST_MG_L))
        if oxygen is not None:
            # Only what came in took it up.
            came_in = 1.0 - share if part.resident else share
            mixed = replace(mixed, oxygen=OxygenUptake(came_in * oxygen.mg_l, came_in * oxygen.u_mg_l))
        return So2Fact(entry.kind, mixed, other=part.wine if share > ESTIMATED_SHARE else None)
