"""The counts of what could not be read."""

from __future__ import annotations

from a_store import NOW

from ingest.store import Store
from ingest.store.rejects import MOST_REJECT_ROWS, Reject, add_rejects, rejects


def _refused(address: str = "k1/p", times: int = 1, at_ms: int = NOW, example: str = "abc") -> Reject:
    return Reject("mqtt", address, "k1-pressure", "not a number", times, at_ms, at_ms, example)


def _add(store: Store, *counted: Reject) -> None:
    with store.write() as connection:
        add_rejects(connection, counted)


def test_the_same_refusal_is_counted_with_its_first_and_last_time(store: Store) -> None:
    _add(store, _refused(times=3, at_ms=NOW, example="abc"))
    _add(store, _refused(times=2, at_ms=NOW + 50, example="n/a"), _refused("k2/p", at_ms=NOW + 9))
    assert rejects(store) == [
        Reject("mqtt", "k1/p", "k1-pressure", "not a number", 5, NOW, NOW + 50, "n/a"),
        Reject("mqtt", "k2/p", "k1-pressure", "not a number", 1, NOW + 9, NOW + 9, "abc"),
    ]


def test_a_babbling_device_cannot_fill_the_table_and_none_is_uncounted(store: Store) -> None:
    sent = 3 * MOST_REJECT_ROWS
    for begin in range(0, sent, 100):
        _add(store, *(_refused(f"babble/{number}", at_ms=NOW + number) for number in range(begin, begin + 100)))
    kept = rejects(store)
    assert len(kept) == MOST_REJECT_ROWS + 1
    assert sum(row.times for row in kept) == sent
    (others,) = [row for row in kept if row.address == "others"]
    assert (others.times, others.last_ms) == (sent - MOST_REJECT_ROWS, NOW + sent - 1)
    _add(store, _refused("babble/3", at_ms=NOW + sent))
    assert rejects(store)[0] == Reject("mqtt", "babble/3", "k1-pressure", "not a number", 2, NOW + 3, NOW + sent, "abc")
