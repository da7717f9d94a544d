"""When samples that nobody takes are enough for a proposal."""

from __future__ import annotations

from alerts.command.unclaimed import MOST_ADDRESSES, UnclaimedSamples
from ingest.sources.sample import Sample


def sample(address: str, at: float, payload: bytes = b"8.0", *, source: str = "mqtt", retained: bool = False) -> Sample:
    return Sample(source, address, payload, 0, at, retained)


def gathering() -> UnclaimedSamples:
    return UnclaimedSamples(100.0, {"bench-line": "utf-8"})


def test_the_third_sample_makes_it_ready_once() -> None:
    gathered = gathering()
    for at in (100.0, 102.0):
        gathered.add(sample("a", at))
        assert gathered.ready(at) == []
    gathered.add(sample("a", 104.5))
    (ready,) = gathered.ready(104.5)
    assert (ready.address, ready.payloads, ready.every_s) == ("a", (b"8.0",) * 3, 2.25)
    gathered.add(sample("a", 106.0))
    assert gathered.ready(200.0, at_end=True) == []


def test_ten_seconds_of_listening_are_enough_for_a_single_sample() -> None:
    gathered = gathering()
    gathered.add(sample("a", 104.0))
    assert gathered.ready(109.9) == []
    assert [ready.address for ready in gathered.ready(110.0)] == ["a"]


def test_what_comes_later_waits_ten_seconds_of_its_own() -> None:
    gathered = gathering()
    gathered.add(sample("a", 150.0))
    assert gathered.ready(159.9) == []
    assert [ready.every_s for ready in gathered.ready(160.0)] == [None]


def test_at_the_end_everything_is_ready() -> None:
    gathered = gathering()
    gathered.add(sample("a", 100.0))
    gathered.add(sample("b", 100.0))
    assert [ready.address for ready in gathered.ready(100.0, at_end=True)] == ["a", "b"]


def test_when_the_broker_had_kept_it_says_nothing_about_how_often_it_comes() -> None:
    gathered = gathering()
    gathered.add(sample("a", 100.0, retained=True))
    gathered.add(sample("a", 130.0))
    assert [ready.every_s for ready in gathered.ready(131.0)] == [None]


def test_lines_are_grouped_by_their_shape() -> None:
    gathered = gathering()
    for at, payload in ((100.0, b"K1 T=12.5"), (101.0, b"K2 T=11.0"), (110.0, b"K1 T=12.6"), (111.0, b"K2 T=-3")):
        gathered.add(sample("bench-line", at, payload, source="bench-line"))
    ready = gathered.ready(111.0, at_end=True)
    assert [(group.payloads, group.every_s, group.encoding) for group in ready] == [
        ((b"K1 T=12.5", b"K1 T=12.6"), 10.0, "utf-8"),
        ((b"K2 T=11.0", b"K2 T=-3"), 10.0, "utf-8"),
    ]


def test_beyond_a_bound_further_addresses_are_only_counted() -> None:
    gathered = gathering()
    for number in range(MOST_ADDRESSES + 3):
        gathered.add(sample(str(number), 100.0))
    assert len(gathered.ready(100.0, at_end=True)) == MOST_ADDRESSES
    assert gathered.left_out == 3
