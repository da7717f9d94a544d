"""The facts of a vessel and its wine, from the cellar file and the store. History comes from summaries."""

from __future__ import annotations

__all__ = ["free_so2_band", "vessel_facts"]

from collections.abc import Collection, Iterable, Sequence
from typing import Final

import numpy as np

from alerts.blanket.setting import AIR_FLOOR_KPA, blanket_settings
from alerts.gas.blanket import Filling
from alerts.gas.gases import ATMOSPHERE_KPA
from alerts.gas.vessel_walls import walls_of
from alerts.review.vessel_facts import BlanketPast, HourMeans, PressureSpans, VesselFacts, WineSeen
from alerts.so2.band import BandPoint, so2_band
from alerts.so2.used_salt import salt_used_last
from alerts.view.alarms.alarm_lines import alarm_line
from alerts.view.places.vessel_card import VesselCard, vessel_cards
from alerts.view.status import AlarmStatus, cellar_status
from alerts.watch.due import DueLimit, due_limits
from ingest.cellar import Cellar, Vessel, due_rules
from ingest.journal.awaited_work import main_lot
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.inspection import InspectionBody
from ingest.journal.kinds.measurement import MeasurementBody
from ingest.journal.kinds.racking import RackingBody
from ingest.probes.file_scale import station_pressure_kpa
from ingest.store import Store
from ingest.store.journal.awaited_work_rows import awaited_work
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.hand_results import found_quantities, hand_results_inside
from ingest.store.journal.stored_ledger import equipment_of, ledger_at
from ingest.store.judgements import judgement_history
from ingest.store.readings.series import all_series
from ingest.store.readings.summaries import summary
from ingest.store.readings.summary import LEVELS, Level

_DAY_MS: Final = 86_400_000
_HOUR_MS: Final = 3_600_000
# Temperatures of so long are looked at, and drawn.
WEEKS_MS: Final = 28 * _DAY_MS
# Judgements are kept for 400 days; a wine that lies longer is looked at from then on.
_LONGEST_MS: Final = 400 * _DAY_MS
# Hours that cross a floor are looked at by minutes on so many days at most; on others a share of the hour counts.
_MOST_FINE_DAYS: Final = 40
_STIRRING: Final = ("racking", "topping", "addition", "first-filling")
_CHANGES_GAS: Final = (*_STIRRING, "bottling", "gas", "sample", "vessel-status")
_CO2: Final = frozenset({"carbon dioxide", "co2", "dissolved carbon dioxide", "dissolved co2"})


def vessel_facts(cellar: Cellar, store: Store, vessel: str, to: str | None, now_ms: int) -> VesselFacts:
    """Read what is known of a vessel of the cellar file and its wine, at now_ms [UTC ms]; call inside ``store.read()``.

    to: the receiving vessel, whose alarms count too.
    """
    declared = next(each for each in cellar.vessel if each.id == vessel)
    (card,) = vessel_cards(cellar, store, now_ms, [vessel])
    equipment = equipment_of(store.connection, cellar, now_ms)
    contents = card.contents
    ledger = ledger_at(store.connection, now_ms, cellar)
    state = ledger.states_at(now_ms).get(vessel)
    lot = "" if state is None else main_lot(state)
    of_lot = ledger.lots.of(lot, now_ms) if lot else None
    entries = _entries(store, equipment, vessel, contents.since_ms or 0, now_ms)
    names = equipment.names_ever(vessel)
    hours = _temperatures(cellar, store, declared, min(now_ms - WEEKS_MS, _past_from(card) or now_ms), now_ms)
    alarms = _alarms(cellar, store, lot, [vessel, *([] if to is None else [to])], now_ms)
    salt, stock = salt_used_last(store, now_ms)
    return VesselFacts(
        vessel=vessel,
        kind=declared.kind,
        at_ms=now_ms,
        zone=cellar.site.zone,
        contents=contents,
        units=cellar.site.units,
        material=declared.material,
        gas_name=declared.gas or "",
        under_gas=declared.under_gas,
        lot=lot,
        malolactic=None if of_lot is None else of_lot.malolactic,
        due=_due(cellar, store, vessel, now_ms),
        begun=card.open_rackings,
        seen=tuple(_seen(entry, entry.body) for entry in entries if isinstance(entry.body, InspectionBody)),
        disturbed=max(
            ((entry.kind, entry.at_ms) for entry in entries if _stirs(entry, names)), key=_time, default=None
        ),
        temperature=None if hours is None else _since(hours, now_ms - WEEKS_MS),
        gas=_gas_past(cellar, store, equipment, declared, card, entries, hours),
        shown=card.blanket,
        so2=card.so2,
        total=card.total_so2,
        why_no_so2=card.why_no_so2,
        salt=salt,
        stock=stock,
        alarms=tuple(alarms),
        alarm_lines={alarm.key: alarm_line(alarm, cellar.site.zone, cellar.site.units, now_ms) for alarm in alarms},
        co2_g_l=_found(store, [name for name in found_quantities(store) if name.casefold() in _CO2], card, lot),
        sugar_g_l=_found(store, ["sugar"], card, lot),
    )


def free_so2_band(cellar: Cellar, store: Store, facts: VesselFacts) -> list[BandPoint]:
    """Read the band of free SO2 of the wine since it came into the vessel; call inside ``store.read()``."""
    since_ms = facts.contents.since_ms
    if since_ms is None or facts.contents.empty:
        return []
    return so2_band(cellar, store, facts.vessel, "free_so2", max(since_ms, facts.at_ms - _LONGEST_MS), facts.at_ms)


def _time(done: tuple[str, int]) -> int:
    return done[1]


def _entries(store: Store, equipment: Equipment, vessel: str, from_ms: int, to_ms: int) -> list[Entry]:
    """The entries on a vessel in a span, oldest first, under every name that it had."""
    names = sorted(equipment.names_ever(vessel))
    marks = ", ".join("?" * len(names))
    there = f"entry.id IN (SELECT entry FROM entry_place WHERE place IN ({marks}))"  # noqa: S608  question marks
    rows = store.connection.execute(unstruck(f"{there} AND at_ms BETWEEN ? AND ?"), (*names, from_ms, to_ms))
    entries = [entry_of(row) for row in rows]
    return [
        entry
        for entry in entries
        if any(equipment.name_now(place, entry.written_ms) == vessel for place in entry.places)
    ]


def _seen(entry: Entry, body: InspectionBody) -> WineSeen:
    return WineSeen(entry.at_ms, body.clarity, body.turbidity_ntu, body.lees_mm, body.smell or "", body.film)


def _stirs(entry: Entry, names: Collection[str]) -> bool:
    """Whether something came into the vessel of these names: what is drawn off leaves the rest in peace."""
    if isinstance(entry.body, RackingBody):
        return entry.body.stage == "done" and any(poured.vessel in names for poured in entry.body.targets)
    return entry.kind in _STIRRING and entry.place in names


def _due(cellar: Cellar, store: Store, vessel: str, now_ms: int) -> tuple[DueLimit, ...]:
    """The work on this vessel and its wine that is or will be due; that on probes and bottles is left out.

    A lot that lies in several vessels has one limit in all, so each vessel is asked for by itself.
    """
    awaited = [each for each in awaited_work(store.connection, cellar, now_ms) if each.place == vessel]
    limits = due_limits(due_rules(cellar.limit), awaited).values()
    return tuple(each for each in limits if each.limit.quantity not in ("calibration", "titrant"))


def _alarms(cellar: Cellar, store: Store, lot: str, vessels: Sequence[str], now_ms: int) -> list[AlarmStatus]:
    """The open alarms that matter to the work: of vessels, wine, rooms, and the cylinders that feed the vessels."""
    declared = [each for each in cellar.vessel if each.id in vessels]
    rooms = {each.room for each in declared if each.room is not None}
    lines = {line.cylinder for line in cellar.gas_line if set(line.vessels) & set(vessels)}
    gases = {each.gas for each in declared if each.gas is not None}
    cylinders = lines or {each.id for each in cellar.cylinder if each.gas in gases}
    places = {*vessels, *rooms, *cylinders}
    return [
        alarm
        for alarm in cellar_status(cellar, store, now_ms).alarms
        if alarm.at in places or (lot and alarm.limit is not None and alarm.limit.lot == lot)
    ]


def _found(store: Store, quantities: Iterable[str], card: VesselCard, lot: str) -> tuple[float, int] | None:
    """What was measured last of the wine [g/L], and when [UTC ms]; None if never."""
    results = []
    for quantity in quantities:
        since_ms = card.contents.since_ms or 0
        results += hand_results_inside(
            store.connection, quantity, vessel=card.id, from_ms=since_ms, to_ms=card.at_ms + 1
        )
        if lot:
            results += hand_results_inside(store.connection, quantity, lot=lot, to_ms=card.at_ms + 1)
    newest = max((each for each in results if each.unit.casefold() == "g/l"), key=lambda each: each.at_ms, default=None)
    return None if newest is None else (newest.value, newest.at_ms)


# ---- temperature and pressure ---------------------------------------------------------------------------------------


def _temperatures(cellar: Cellar, store: Store, vessel: Vessel, from_ms: int, to_ms: int) -> HourMeans | None:
    """The hours of the probe that is nearest to the wine and has read: in it, on the wall, in the air, in the room."""
    probes = [probe for probe in cellar.probes_at(vessel.id) if probe.quantity == "temperature"]
    order = {"wine": 0, "wall": 1, "air": 2}
    probes.sort(key=lambda probe: order.get(probe.mounted or "air", 2))
    if vessel.room is not None:
        probes += [probe for probe in cellar.probes_at(vessel.room) if probe.quantity == "temperature"]
    series = all_series(store)
    for probe in probes:
        mounted = "air" if probe.at != vessel.id or probe.mounted is None else probe.mounted
        of_probe = [each.id for each in series if (each.probe, each.place) == (probe.id, probe.at)]
        found = _hours(store, of_probe, from_ms, to_ms)
        if len(found[0]):
            return HourMeans(probe.id, mounted, *found)
    return None


def _hours(store: Store, series: Sequence[int], from_ms: int, to_ms: int) -> tuple[np.ndarray, np.ndarray]:
    pieces = [summary(store, each, from_ms // _HOUR_MS * _HOUR_MS, to_ms, "hour") for each in series]
    if not pieces:
        return np.empty(0, np.int64), np.empty(0, np.float64)
    begins, means = np.concatenate([each.from_ms for each in pieces]), np.concatenate([each.mean for each in pieces])
    order = np.argsort(begins, kind="stable")
    return begins[order], means[order]


def _since(hours: HourMeans, from_ms: int) -> HourMeans:
    recent = hours.from_ms >= from_ms
    return hours._replace(from_ms=hours.from_ms[recent], mean=hours.mean[recent])


def _past_from(card: VesselCard) -> int | None:
    """From when on the gas over this wine is looked at [UTC ms]."""
    racked, since = card.contents.last_racking_ms, card.contents.since_ms
    begin = since if racked is None else max(racked, since or racked)
    return None if begin is None else max(begin, card.at_ms - _LONGEST_MS)


def _gas_past(
    cellar: Cellar,
    store: Store,
    equipment: Equipment,
    vessel: Vessel,
    card: VesselCard,
    entries: Sequence[Entry],
    hours: HourMeans | None,
) -> BlanketPast | None:
    from_ms, to_ms = _past_from(card), card.at_ms
    if from_ms is None:
        return None
    setting = blanket_settings(cellar).get(vessel.id)
    altitude_m = cellar.site.altitude_m
    station = ATMOSPHERE_KPA if altitude_m is None else station_pressure_kpa(altitude_m)
    care = [limit.setpoint for limit in cellar.limits if limit.at == vessel.id and limit.role == "care"]
    air_kpa = AIR_FLOOR_KPA if setting is None else setting.floor_kpa
    floors = [air_kpa, *care[:1]]
    names = equipment.names_ever(vessel.id)
    return BlanketPast(
        from_ms=from_ms,
        to_ms=to_ms,
        pressure=_pressure(store, _pressure_series(store, equipment, vessel.id), from_ms, to_ms, floors)
        if vessel.under_gas
        else None,
        by_hand=tuple(
            (entry.at_ms, entry.body.value)
            for entry in entries
            if isinstance(entry.body, MeasurementBody) and entry.body.quantity == "pressure" and entry.at_ms > from_ms
        ),
        temperature=None if hours is None else _since(hours, from_ms),
        judged=tuple(judgement_history(store, names, "compensated_pressure", from_ms, to_ms)),
        rates=tuple(judgement_history(store, names, "leak_rate", from_ms, to_ms)),
        touched_ms=tuple(entry.at_ms for entry in entries if entry.kind in _CHANGES_GAS and entry.at_ms > from_ms),
        filling=_filling(vessel, card.contents),
        station_kpa=station,
        air_floor_kpa=air_kpa if vessel.under_gas else None,
        care_floor_kpa=care[0] if care else None,
    )


def _filling(vessel: Vessel, contents: Contents) -> Filling | None:
    wine_l = contents.volume_l
    if wine_l is None or wine_l > vessel.capacity_l:
        return None
    alcohol = contents.alcohol_percent_vol
    return Filling(vessel.capacity_l, wine_l, 12.0 if alcohol is None else alcohol, walls_of(vessel.material))


def _pressure_series(store: Store, equipment: Equipment, vessel: str) -> list[int]:
    """Every series of pressure that was read at a vessel, also under a former name."""
    return [
        each.id
        for each in all_series(store)
        if each.quantity == "pressure"
        and (each.place if each.ended_ms is None else equipment.name_now(each.place, each.ended_ms - 1)) == vessel
    ]


def _pressure(
    store: Store, series: Sequence[int], from_ms: int, to_ms: int, floors: Collection[float]
) -> PressureSpans | None:
    """The pressure by hours that lie wholly in the span, and by minutes where an hour crosses a floor."""
    begin_ms = -(-from_ms // _HOUR_MS) * _HOUR_MS
    hours = _joined([_spans(store, each, begin_ms, to_ms, "hour") for each in series])
    if hours is None or not len(hours.from_ms):
        return None
    crossing = np.zeros(len(hours.from_ms), np.bool_)
    for floor in floors:
        crossing |= (hours.low < floor) & (hours.high >= floor)
    days = np.unique(hours.from_ms[crossing] // _DAY_MS)
    if not len(days) or len(days) > _MOST_FINE_DAYS:
        return hours
    fine_hours = hours.from_ms[crossing]
    minutes = _joined(
        [
            _spans(store, each, int(day) * _DAY_MS, (int(day) + 1) * _DAY_MS, "minute")
            for each in series
            for day in days.tolist()
        ]
    )
    if minutes is None:
        return hours
    inside = np.isin(minutes.from_ms // _HOUR_MS * _HOUR_MS, fine_hours)
    covered = np.isin(hours.from_ms, minutes.from_ms[inside] // _HOUR_MS * _HOUR_MS)
    return _joined([_part(hours, ~covered), _lasting(_part(minutes, inside))])


def _lasting(minutes: PressureSpans) -> PressureSpans:
    """Let what was read in a minute stand until the next one, and the first of an hour from its begin: probes that read
    seldom leave most minutes out.
    """
    if not len(minutes.from_ms):
        return minutes
    hour = minutes.from_ms // _HOUR_MS
    first = np.concatenate(([True], hour[1:] != hour[:-1]))
    from_ms = np.where(first, hour * _HOUR_MS, minutes.from_ms)
    last = np.concatenate((first[1:], [True]))
    until_ms = np.where(last, (hour + 1) * _HOUR_MS, np.concatenate((minutes.from_ms[1:], [0])))
    return minutes._replace(from_ms=from_ms, span_ms=until_ms - from_ms)


def _spans(store: Store, series: int, from_ms: int, to_ms: int, level: Level) -> PressureSpans:
    rows = summary(store, series, from_ms, to_ms, level)
    span_ms = np.full(len(rows.from_ms), LEVELS[level], np.int64)
    return PressureSpans(rows.from_ms, span_ms, rows.low, rows.high, rows.mean)


def _part(spans: PressureSpans, where: np.ndarray) -> PressureSpans:
    return PressureSpans._make(column[where] for column in spans)


def _joined(pieces: Sequence[PressureSpans]) -> PressureSpans | None:
    if not pieces:
        return None
    whole = PressureSpans._make(np.concatenate(columns) for columns in zip(*pieces, strict=True))
    # Where two probes read the same vessel the first one counts.
    return _part(whole, np.unique(whole.from_ms, return_index=True)[1])
