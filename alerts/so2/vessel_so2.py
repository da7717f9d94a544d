"""The SO2 of the wine in each vessel as of a time: from the store to the estimate, with all that it rests on."""

from __future__ import annotations

__all__ = ["Titrated", "VesselSo2", "acidity_of", "so2_at", "so2_inside", "so2_of_vessel"]

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from alerts.errors import OutOfRange
from alerts.so2.histories import histories_of
from alerts.so2.low_limits import LowLimit, low_limits
from alerts.so2.wine_facts import WineFacts
from alerts.so2.wine_fold import WineFold
from alerts.so2.wine_readings import ASSUMED_C, KnownPh, KnownTemperature, WineReadings
from alerts.wine.acidity import Acidity
from alerts.wine.molecular import Pk, simple_pk
from alerts.wine.so2_estimate import So2Asked, So2Estimate, estimate_all
from alerts.wine.so2_history import FreeTitrated, So2History, WineMixedIn
from ingest.cellar import Cellar
from ingest.journal.awaited_work import main_lot
from ingest.journal.contents import Contents
from ingest.journal.ledger import Ledger
from ingest.journal.said_of_wine import SaidOfWine
from ingest.journal.vessel_state import VesselState
from ingest.journal.wine_places import wine_places
from ingest.store import Store
from ingest.store.journal.stored_ledger import equipment_of, load_ledger

_DAY_MS: Final = 86_400_000
# A pH that is older says nothing of this wine any more, and from this age on its age is worth a remark (working
# defaults, no source).
_PH_TOO_OLD_MS: Final = 400 * _DAY_MS
_PH_OLD_MS: Final = 120 * _DAY_MS
# Of so much other wine the pH of the whole may be another one (a working default).
_BLENDED_SHARE: Final = 0.1
# What is expected so long after the last entry is a guess.
_LONG_UNTITRATED_MS: Final = 180 * _DAY_MS


class Titrated(NamedTuple):
    """The last titration of free SO2: when [UTC ms], what [mg/L], and whether that is an upper bound."""

    at_ms: int
    mg_l: float
    upper_bound: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselSo2:
    """The SO2 of a vessel's wine, as the tool knew it at a time [UTC ms].

    lot: the one that is most of the wine, "" where no entry names it; contents: what the vessel held; history: what the
    estimate rests on; acidity: None where no pH is known that says anything of this wine; ph, temperature: None where
    not known; pk: of the molecular numbers; limits: the low ones that apply; since_then: kinds of entries since the
    last titration, each once, in their order; since_then_ms: each entry with its time.
    """

    vessel: str
    lot: str
    at_ms: int
    contents: Contents
    history: So2History
    estimate: So2Estimate
    acidity: Acidity | None
    ph: KnownPh | None
    temperature: KnownTemperature | None
    pk: Pk
    limits: tuple[LowLimit, ...]
    last_titration: Titrated | None
    since_then: tuple[str, ...]
    since_then_ms: tuple[tuple[str, int], ...]
    remarks: tuple[str, ...]


def so2_of_vessel(cellar: Cellar, store: Store, vessel: str, at_ms: int) -> VesselSo2 | None:
    """Work out one vessel's SO2 as of a time [UTC ms]; None where it then was empty, or nothing was known of its wine.

    Only entries that happened by then count.
    """
    return so2_at(cellar, store, at_ms, [vessel]).get(vessel)


def so2_at(cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str] | None = None) -> dict[str, VesselSo2]:
    """Work out the SO2 of vessels as of a time [UTC ms], of all by default; those without wine are left out.

    Each is the same as asked for alone; together they take much less time. Not inside ``store.read()``.
    """
    with store.read():
        asked = _asked(cellar, store, at_ms, vessels)
    return _answers(asked)


def so2_inside(
    cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str] | None = None
) -> dict[str, VesselSo2]:
    """``so2_at`` inside a ``store.read()`` of the caller's."""
    return _answers(_asked(cellar, store, at_ms, vessels))


def _asked(
    cellar: Cellar, store: Store, at_ms: int, vessels: Collection[str] | None
) -> list[tuple[_KnownWine, So2History]]:
    ledger = load_ledger(store.connection, equipment_of(store.connection, cellar, at_ms), to_ms=at_ms)
    fold = WineFold(ledger)
    wines = fold.wines
    chosen = {vessel: wines[vessel] for vessel in sorted(wines) if vessels is None or vessel in vessels}
    if not chosen:
        return []
    readings = WineReadings(cellar, store)
    histories = histories_of([*chosen.values()], at_ms, readings.temperatures)
    contents = {vessel: ledger.contents_of(vessel, fold.state(vessel), at_ms) for vessel in chosen}
    said = {vessel: _said(ledger, fold.state(vessel), contents[vessel], at_ms) for vessel in chosen}
    limits = low_limits(cellar, said, wine_places(fold.states))
    pk = simple_pk(cellar.site.so2_pk)
    known = [
        _KnownWine(contents[vessel], said[vessel], limits[vessel], wine, readings, pk, at_ms)
        for vessel, wine in chosen.items()
    ]
    return list(zip(known, histories, strict=True))


def _answers(asked: Sequence[tuple[_KnownWine, So2History]]) -> dict[str, VesselSo2]:
    if not asked:
        return {}
    estimates = estimate_all([known.so2_asked(history) for known, history in asked])
    return {
        known.vessel: known.answer(history, found) for (known, history), found in zip(asked, estimates, strict=True)
    }


def _said(ledger: Ledger, state: VesselState, contents: Contents, at_ms: int) -> SaidOfWine:
    lot = main_lot(state)
    of_lot = ledger.lots.of(lot, at_ms) if lot else None
    return SaidOfWine(lot, contents.style, contents.sugar_g_l, None if of_lot is None else of_lot.malolactic)


class _KnownWine:
    """What is known of one vessel's wine beside its history."""

    def __init__(
        self,
        contents: Contents,
        said: SaidOfWine,
        limits: Sequence[LowLimit],
        wine: WineFacts,
        readings: WineReadings,
        pk: Pk,
        at_ms: int,
    ) -> None:
        self.vessel = contents.vessel
        self._wine, self._contents, self._at_ms = wine, contents, at_ms
        self._lot, self._limits = said.lot, tuple(limits)
        self._remarks: list[str] = []
        self._pk = pk
        self._ph = readings.ph(wine, at_ms)
        self._temperature = readings.temperature(wine, at_ms)
        self._acidity, ph_remark = acidity_of(self._ph, at_ms, self._pk)
        if ph_remark:
            self._remarks.append(ph_remark)
        self._remarks += readings.ph_probe_remarks(self.vessel, at_ms)
        if said.awaits_malolactic:
            self._remarks.append(
                f"malolactic fermentation is {said.malolactic}: no low limit on SO2 applies, and no SO2 should be added"
            )

    def so2_asked(self, history: So2History) -> So2Asked:
        by_quantity = {limit.quantity: limit.low_mg_l for limit in self._limits}
        return So2Asked(
            history,
            self._at_ms,
            self._acidity,
            molecular_limit_mg_l=by_quantity.get("molecular_so2"),
            free_limit_mg_l=by_quantity.get("free_so2"),
        )

    def answer(self, history: So2History, estimate: So2Estimate) -> VesselSo2:
        titrated = None
        since: list[tuple[str, int]] = []
        for fact in self._wine.facts:
            if isinstance(fact.effect, FreeTitrated):
                titrated, since = Titrated(fact.effect.at_ms, fact.effect.free_mg_l, fact.upper_bound), []
            else:
                since.append((fact.kind, fact.effect.at_ms))
        return VesselSo2(
            vessel=self.vessel,
            lot=self._lot,
            at_ms=self._at_ms,
            contents=self._contents,
            history=history,
            estimate=estimate,
            acidity=self._acidity,
            ph=self._ph,
            temperature=self._temperature,
            pk=self._pk,
            limits=self._limits,
            last_titration=titrated,
            since_then=tuple(dict.fromkeys(kind for kind, _ in since)),
            since_then_ms=tuple(since),
            remarks=tuple(dict.fromkeys((*self._titration_remarks(titrated), *estimate.remarks, *self._rest()))),
        )

    def _titration_remarks(self, titrated: Titrated | None) -> list[str]:
        if titrated is None:
            return []
        remarks = []
        if titrated.upper_bound:
            remarks.append(
                "red wine: what was titrated is an upper bound, since the acid also frees SO2 that the pigments held, "
                "up to two thirds of it; so free and molecular SO2 are at most what is given here"
            )
        if self._at_ms - titrated.at_ms > _LONG_UNTITRATED_MS:
            days = (self._at_ms - titrated.at_ms) // _DAY_MS
            remarks.append(f"the last titration is {days} days old: what is given here is little more than a guess")
        return remarks

    def _blended_since(self, at_ms: int) -> bool:
        """Whether so much other wine came in since then that the pH may be another one."""
        blends = (fact.effect for fact in self._wine.facts if isinstance(fact.effect, WineMixedIn))
        return any(blend.at_ms > at_ms and blend.share >= _BLENDED_SHARE for blend in blends)

    def _rest(self) -> list[str]:
        remarks = [*self._wine.remarks, *(fact.remark for fact in self._wine.facts if fact.remark)]
        if self._ph is not None and self._blended_since(self._ph.at_ms):
            remarks.append(f"the pH, {self._ph.ph:.2f}, is from before the wine was blended: measure it again")
        if not self._contents.known:
            remarks.append(f"the journal does not say what came into {self._contents.vessel}: write its filling down")
        if self._temperature is None:
            remarks.append(f"the wine's temperature is not known: {ASSUMED_C:g} °C is assumed where nobody measured it")
        return [*self._remarks, *remarks]


def acidity_of(known: KnownPh | None, at_ms: int, pk: Pk) -> tuple[Acidity | None, str]:
    """Give what a pH says of molecular SO2 at a time [UTC ms], None where nothing; and a remark, "" where none."""
    if known is None:
        return None, "no pH of this wine is known, so its molecular SO2 is not: measure it"
    age_ms = at_ms - known.at_ms
    ph_words = f"the newest pH, {known.ph:.2f}, is {age_ms // _DAY_MS} days old"
    if age_ms > _PH_TOO_OLD_MS:
        return None, f"{ph_words}, too old for molecular SO2: measure it again"
    try:
        acidity = Acidity(known.ph, known.u_ph, pk)
    except OutOfRange as error:
        return None, f"the newest pH is of no use for molecular SO2: {error}"
    return acidity, f"{ph_words}: measure it again" if age_ms > _PH_OLD_MS else ""
