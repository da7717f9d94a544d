"""Ids that a store knows and the cellar file does not have any more, though new ones came: renamed without `was`?"""

from __future__ import annotations

__all__ = ["renamed_without_was"]

from collections.abc import Iterator

from ingest.cellar import Cellar
from ingest.errors import StoreError
from ingest.process import wall_ms
from ingest.store import Store, open_existing
from ingest.store.journal.stored_ledger import contents_inside, equipment_of
from ingest.store.readings.series import all_series


def renamed_without_was(cellar: Cellar) -> Iterator[str]:
    """List vessels with wine or with a new one in their place, and probes with a new one in theirs, that are gone."""
    try:
        with open_existing(cellar.store_path) as store, store.read():
            warnings = [*_vessels(cellar, store), *_probes(cellar, store)]
    except StoreError:
        return  # before the first run nothing is known; what is wrong with a store, --store says
    yield from warnings


def _vessels(cellar: Cellar, store: Store) -> Iterator[str]:
    ran = {id for each in equipment_of(store.connection).cellars for id in each.vessels}
    named = {vessel.id for vessel in cellar.vessel} | {vessel.was for vessel in cellar.vessel if vessel.was}
    new = sorted({vessel.id for vessel in cellar.vessel if vessel.was is None} - ran)
    renames = {rename.old for rename in equipment_of(store.connection, cellar).renames}
    contents = contents_inside(store.connection, wall_ms(), cellar)
    for id in sorted(ran - named - renames):
        held = contents.get(id)
        with_wine = held is not None and held.known and not held.empty
        if not (new or with_wine):
            continue
        wine = " and holds wine by the journal" if with_wine else ""
        where = f" at {' or '.join(new)}" if new else " at it"
        yield (
            f"vessel {id} is in the store{wine}, but not in the file any more. If it has another name now, write "
            f'was = "{id}"{where}, so that its journal and readings go with it.'
            + (" If it is gone, write down where its wine went." if with_wine else "")
        )


def _probes(cellar: Cellar, store: Store) -> Iterator[str]:
    series = [row for row in all_series(store) if row.ended_ms is None]
    stored = {row.probe for row in series}
    named = {probe.id for probe in cellar.probe} | {probe.was for probe in cellar.probe if probe.was}
    places = {vessel.was: vessel.id for vessel in cellar.vessel if vessel.was}
    for row in series:
        if row.probe in named:
            continue
        place = places.get(row.place, row.place)
        new = [
            probe.id
            for probe in cellar.probe
            if probe.id not in stored and probe.was is None and (probe.at, probe.quantity) == (place, row.quantity)
        ]
        if new:
            yield (
                f"probe {row.probe} has readings of {row.quantity} at {row.place}, but is not in the file now, and "
                f'{new[0]} is new there. If it is the same probe, write was = "{row.probe}" at {new[0]}; its readings '
                "go with it then."
            )
