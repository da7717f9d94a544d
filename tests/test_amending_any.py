"""Whatever is amended in whatever journal: what is kept beside the entries is what they say when read again."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from a_desk import HOUR, Desk
from a_store import NOW, new_store
from hypothesis import given
from hypothesis import strategies as st
from journal_acts import ACTS
from journal_entries import a_body, journal_cellar

from ingest.errors import EntryRefused
from ingest.journal.entry import Draft, Entry, Strike
from ingest.journal.ledger import BEGINNING, Ledger
from ingest.journal.lot_locations import lot_locations_of, share_changes
from ingest.store.journal.amending import amend_entry
from ingest.store.journal.entries import entries
from ingest.store.journal.lot_location_rows import stored_lot_locations
from ingest.store.journal.stored_ledger import contents, equipment_of

BASE = NOW - 30 * 24 * HOUR
# Which of the entries, at what time it really happened (None: the same), with what said otherwise, and whether the
# later ones may be struck.
_AMENDMENTS = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.none() | st.integers(0, 20),
        st.none() | st.sampled_from([0.5, 3.0, 9.998]),
        st.booleans(),
    ),
    max_size=6,
)


def _amend(desk: Desk, old: Entry, at: int | None, volume: float | None, *, with_later: bool) -> Entry:
    said: dict[str, Any] = old.body.model_dump(exclude_defaults=True) | {"remark": f"{old.id} put right"}
    if volume is not None and old.kind in ("first-filling", "sample", "topping"):
        said["volume_l"] = volume
    at_ms = old.at_ms if at is None else BASE + at
    draft = Draft(old.kind, at_ms, old.who, a_body(old.kind, **said), old.place, old.lot)
    desk.now += HOUR
    with desk.store.write() as connection:
        by = Strike(desk.now, "Ben", "")
        return amend_entry(connection, old.id, draft, desk.cellar, by, with_later=with_later)


@given(st.lists(ACTS, max_size=12), _AMENDMENTS)
def test_what_is_kept_is_what_the_entries_say(acts: list[tuple[int, Any]], amendments: list[Any]) -> None:
    with tempfile.TemporaryDirectory() as folder, new_store(Path(folder)) as store:
        desk = Desk(store, journal_cellar())
        desk.write("lot", lot="A", at=BASE, name="A", style="white")
        desk.write("lot", lot="B", at=BASE + 1, name="B", style="red")
        for number, act in acts:
            try:
                if not isinstance(act, bool):
                    kind, place, lot, said = act
                    desk.write(kind, place, lot, at=BASE + number % 3, **said)  # so that several happen at once
            except EntryRefused:
                pass
        for number, at, volume, with_later in amendments:
            holding = entries(store, struck=False)
            old = holding[number % len(holding)]
            before = {at_ms: contents(store, at_ms) for at_ms in (BASE + 10, desk.now)}
            try:
                new = _amend(desk, old, at, volume, with_later=with_later)
            except EntryRefused:
                assert entries(store, struck=False) == holding
                continue
            if at is None and volume is None:
                order = [each.id for each in entries(store, struck=False)]
                assert order == [new.id if each.id == old.id else each.id for each in holding]
                assert {at_ms: contents(store, at_ms) for at_ms in before} == before
        with store.read() as connection:
            equipment = equipment_of(connection, desk.cellar, desk.now)
            stays = {lot: stored_lot_locations(connection, equipment, lot) for lot in ("A", "B")}
        fresh_ledger = Ledger(entries(store), equipment)
        assert stays == {lot: lot_locations_of(share_changes(fresh_ledger, BEGINNING[:2]), lot) for lot in ("A", "B")}
        for at_ms in (BASE, BASE + 1, BASE + 2, BASE + 13, desk.now):
            assert contents(store, at_ms, desk.cellar) == fresh_ledger.at(at_ms)
