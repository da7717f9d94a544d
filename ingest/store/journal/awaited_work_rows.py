"""When each work was done last, from the stored journal: what is wanted of wine, vessels, probes and titrants.

A lot that was racked takes along what was found of it before: what was titrated in a vessel while the lot lay there,
until it came into the vessel in which it lies now.
"""

from __future__ import annotations

__all__ = ["awaited_work"]

import sqlite3
from bisect import bisect_right, insort
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from ingest.cellar import NEVER_MEASURED, Cellar, Vessel
from ingest.journal.awaited_work import AwaitedWork, main_lot
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.calibration import CalibrationBody
from ingest.journal.titrant_bottles import TitrantBody
from ingest.journal.vessel_state import VesselState
from ingest.store.journal.entry_rows import entry_of, unstruck
from ingest.store.journal.lot_location_rows import stored_lot_locations
from ingest.store.journal.stored_ledger import ledger_at
from ingest.times import END_OF_TIME_MS

# place, lot, at_ms, written_ms
_TITRATIONS: Final = (
    "SELECT vessel, result.lot, result.at_ms, written_ms FROM result JOIN entry ON entry.id = result.entry"
    " WHERE quantity = 'free_so2' AND kind = 'titration' AND result.at_ms BETWEEN ? AND ?"
    " AND NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = entry.id)"
)
_SO2: Final = "kind = 'addition' AND coalesce(json_extract(body, '$.so2_g'), 0) > 0"
_LOOKED_AT: Final = (
    "kind = 'inspection' OR (kind = 'measurement' AND (json_extract(body, '$.quantity') = 'volume'"
    " OR json_extract(body, '$.volume_l') IS NOT NULL))"
)
_PH: Final = "kind = 'measurement' AND json_extract(body, '$.quantity') = 'pH'"
_AIRLOCK: Final = "kind = 'vessel-status' AND json_extract(body, '$.airlock_liquid_seen') IS NOT NULL"
# While it is wanted SO2 is kept low, and a test says little.
_MALOLACTIC: Final = frozenset({"wanted", "under way"})
# An addition still binds for hours: a test before that does not say what stays free (this project's choice).
_BINDING_MS: Final = 12 * 3_600_000


def awaited_work(connection: sqlite3.Connection, cellar: Cellar, now_ms: int) -> list[AwaitedWork]:
    """List all work that may fall due, as of a time (UTC ms); call inside a transaction."""
    ledger = ledger_at(connection, now_ms, cellar)
    states = ledger.states_at(now_ms)
    equipment = ledger.equipment
    resting = [
        (vessel, state, _Path(connection, equipment, vessel.id, state, main_lot(state)))
        for vessel in cellar.vessel
        if (state := states.get(vessel.id)) is not None and state.known and not state.empty and not state.out_of_use
    ]
    # Of the time before the oldest wine that lies here nothing is asked: there may be years of it.
    span = min((path.begun_ms for _, _, path in resting), default=now_ms), now_ms
    titrations = _Times(connection.execute(_TITRATIONS, span), equipment)
    additions, ph, inspections, airlocks = (
        _Times(_rows(connection, kind, span), equipment) for kind in (_SO2, _PH, _LOOKED_AT, _AIRLOCK)
    )
    with_ph_probe = {probe.at for probe in cellar.probe if probe.quantity == "pH"}
    awaited: list[AwaitedWork] = []
    for vessel, state, path in resting:
        lot = path.lot
        body = ledger.lots.of(lot, now_ms) if lot else None
        if body is None or body.malolactic not in _MALOLACTIC:
            awaited += _tests(vessel, lot, path, titrations, additions, now_ms)
            if vessel.id not in with_ph_probe:
                awaited.append(_ph(vessel, lot, path, ph, now_ms))
        awaited += _care(vessel, lot, state, inspections, airlocks)
    awaited += _calibrations(connection, cellar, states, now_ms)
    if resting:
        awaited += _titrants(connection, now_ms)
    return awaited


class _Times:
    """When something was done: in each vessel, and of a lot that was named without a vessel; UTC ms, in order."""

    def __init__(self, rows: Iterable[tuple[str | None, str | None, int, int]], equipment: Equipment) -> None:
        self.in_vessel: dict[str, list[int]] = {}
        self.of_lot: dict[str, list[int]] = {}
        for place, lot, at_ms, written_ms in rows:
            if place is not None:
                insort(self.in_vessel.setdefault(equipment.name_now(place, written_ms), []), at_ms)
            elif lot is not None:
                insort(self.of_lot.setdefault(lot, []), at_ms)

    def last(self, vessel: str, from_ms: int, to_ms: int) -> int:
        """Find the newest in a vessel between two moments, both included, -1 if there is none."""
        times = self.in_vessel.get(vessel, [])
        index = bisect_right(times, to_ms) - 1
        return times[index] if index >= 0 and times[index] >= from_ms else -1

    def last_of(self, lot: str) -> int:
        """Find the newest that names the lot alone, -1 if there is none."""
        return max(self.of_lot.get(lot, ()), default=-1)


class _Path:
    """Where the wine of a vessel came from: the vessels that its main lot lay in before it came here."""

    def __init__(
        self, connection: sqlite3.Connection, equipment: Equipment, vessel: str, state: VesselState, lot: str
    ) -> None:
        self._vessel = vessel
        self.lot = lot
        self._since_ms = state.since_ms or 0
        self._before = stored_lot_locations(connection, equipment, lot) if lot else []
        self.begun_ms = min([self._since_ms, *(location.from_ms for location in self._before)])

    def last(self, times: _Times, now_ms: int) -> int:
        """Find when it was done last to this wine, -1 if never."""
        before = (
            times.last(location.vessel, location.from_ms, min(location.to_ms or now_ms, self._since_ms))
            for location in self._before
        )
        return max(times.last(self._vessel, self._since_ms, now_ms), times.last_of(self.lot), *before)


def _tests(
    vessel: Vessel, lot: str, path: _Path, titrations: _Times, additions: _Times, now_ms: int
) -> Iterator[AwaitedWork]:
    titrated = path.last(titrations, now_ms)
    yield _of("titration", vessel, lot, path.begun_ms, titrated)
    added = path.last(additions, now_ms)
    if added >= 0 and added > titrated - _BINDING_MS:
        yield _of("re-test", vessel, lot, added, added)


def _ph(vessel: Vessel, lot: str, path: _Path, measured: _Times, now_ms: int) -> AwaitedWork:
    work = _of("pH", vessel, lot, path.begun_ms, path.last(measured, now_ms))
    return work if work.is_done else work._replace(sort=NEVER_MEASURED)


def _care(vessel: Vessel, lot: str, state: VesselState, inspections: _Times, airlocks: _Times) -> Iterator[AwaitedWork]:
    since_ms, to_ms = state.since_ms or 0, END_OF_TIME_MS
    yield _of("racking", vessel, lot, since_ms, -1 if state.racked_ms is None else state.racked_ms)
    topped = max(-1 if state.topped_ms is None else state.topped_ms, inspections.last(vessel.id, since_ms, to_ms))
    yield _of("topping", vessel, lot, since_ms, topped)
    if vessel.gas is None:
        yield _of("airlock", vessel, lot, since_ms, airlocks.last(vessel.id, since_ms, to_ms))


def _of(work: str, vessel: Vessel, lot: str, begun_ms: int, last_ms: int) -> AwaitedWork:
    is_done = last_ms >= begun_ms
    return AwaitedWork(work, vessel.id, vessel.kind, last_ms if is_done else begun_ms, is_done, lot)


def _calibrations(
    connection: sqlite3.Connection, cellar: Cellar, states: Mapping[str, VesselState], now_ms: int
) -> Iterator[AwaitedWork]:
    calibrated_ms: dict[str, int] = {}
    for row in connection.execute(unstruck("kind = 'calibration' AND at_ms <= ?"), (now_ms,)):
        entry = entry_of(row)
        if isinstance(entry.body, CalibrationBody):
            calibrated_ms[entry.body.probe] = entry.at_ms
    read_since_ms = dict(
        connection.execute("SELECT probe, min(begun_ms) FROM series WHERE ended_ms IS NULL GROUP BY probe").fetchall()
    )
    for probe in cellar.probe:
        state = states.get(probe.at)
        if state is not None and state.empty:
            continue
        last = max(calibrated_ms.get(probe.id, -1), calibrated_ms.get(probe.was or "", -1))
        # What was never calibrated need not be, but for a pH electrode, which says nothing without it.
        if last >= 0 or (probe.quantity == "pH" and probe.id in read_since_ms):
            from_ms = last if last >= 0 else read_since_ms[probe.id]
            yield AwaitedWork("calibration", probe.at, probe.quantity, from_ms, last >= 0, name=probe.id)


def _titrants(connection: sqlite3.Connection, now_ms: int) -> list[AwaitedWork]:
    """List the newest bottle of each substance: one that another has replaced is empty or gone."""
    newest: dict[str, AwaitedWork] = {}
    for row in connection.execute(unstruck("kind = 'titrant' AND at_ms <= ?"), (now_ms,)):
        entry = entry_of(row)
        body = entry.body
        if not isinstance(body, TitrantBody):
            continue
        opened_ms = entry.at_ms if body.opened_ms is None else body.opened_ms
        is_done = body.standardised_ms is not None
        from_ms = opened_ms if body.standardised_ms is None else body.standardised_ms
        newest[body.substance] = AwaitedWork("titrant", "", str(body.substance), from_ms, is_done, name=body.name)
    return [*newest.values()]


def _rows(
    connection: sqlite3.Connection, condition: str, span: tuple[int, int]
) -> Iterable[tuple[str | None, str | None, int, int]]:
    holds = "NOT EXISTS (SELECT 1 FROM strike WHERE strike.entry = entry.id)"
    query = f"SELECT place, lot, at_ms, written_ms FROM entry WHERE ({condition}) AND at_ms BETWEEN ? AND ? AND {holds}"  # noqa: S608  conditions of ours
    return connection.execute(query, span)
