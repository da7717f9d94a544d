"""When samples that no probe takes are enough for a proposal."""

from __future__ import annotations

from cellar_text import KEG, MQTT, SITE, cellar, serial

from alerts.command.discovery import Discovery
from alerts.command.discovery.collecting import MOST_ADDRESSES
from ingest.sources.sample import Sample

LINE = serial("/dev/ttyUSB0")


def sample(address: str, at: float, payload: bytes = b"8.0", *, source: str = "mqtt", retained: bool = False) -> Sample:
    return Sample(source, address, payload, 0, at, retained)


def discovery() -> Discovery:
    return Discovery(cellar(SITE, MQTT, LINE, KEG), 100.0)


def proposed(found: Discovery, at: float, *, at_end: bool = False) -> list[str]:
    """The addresses of what is proposed."""
    return [proposal.address for proposal in found.proposals(at, 0, at_end=at_end)]


def test_the_third_sample_makes_a_proposal_once() -> None:
    found = discovery()
    for at in (100.0, 102.0):
        found.add(sample("a", at))
        assert found.proposals(at, 0) == []
    found.add(sample("a", 104.5, b"9.5"))
    (proposal,) = found.proposals(104.5, 0)
    assert (proposal.source, proposal.address) == ("mqtt", "a")
    assert "# 9.5 came here" in proposal.toml
    assert 'every = "2 s"' in proposal.toml
    found.add(sample("a", 106.0))
    assert found.proposals(200.0, 0, at_end=True) == []


def test_ten_seconds_of_listening_are_enough_for_a_single_sample() -> None:
    found = discovery()
    found.add(sample("a", 104.0))
    assert proposed(found, 109.9) == []
    assert proposed(found, 110.0) == ["a"]


def test_what_comes_later_waits_ten_seconds_of_its_own() -> None:
    found = discovery()
    found.add(sample("a", 150.0))
    assert proposed(found, 159.9) == []
    (proposal,) = found.proposals(160.0, 0)
    assert "every" not in proposal.toml


def test_at_the_end_everything_is_proposed() -> None:
    found = discovery()
    found.add(sample("a", 100.0))
    found.add(sample("b", 100.0))
    assert proposed(found, 100.0, at_end=True) == ["a", "b"]


def test_when_the_broker_had_kept_it_says_nothing_about_how_often_it_comes() -> None:
    found = discovery()
    found.add(sample("a", 100.0, retained=True))
    found.add(sample("a", 130.0))
    (proposal,) = found.proposals(131.0, 0)
    assert "every" not in proposal.toml


def test_lines_of_two_kinds_give_a_table_each() -> None:
    found = discovery()
    for at, payload in ((100.0, b"K1 T=12.5"), (101.0, b"K2 T=11.0"), (110.0, b"K1 T=12.6"), (111.0, b"K2 T=-3")):
        found.add(sample("bench-line", at, payload, source="bench-line"))
    first, second = found.proposals(111.0, 0, at_end=True)
    assert "# 12.6 came here" in first.toml
    assert 'pattern = "K1 T=(?P<value>[-+0-9.]+)"' in first.toml
    assert "# -3 came here" in second.toml
    assert 'pattern = "K2 T=(?P<value>[-+0-9.]+)"' in second.toml
    assert first.toml.count('every = "10 s"') == second.toml.count('every = "10 s"') == 1


def test_two_addresses_of_one_name_get_ids_of_their_own() -> None:
    found = discovery()
    for topic in ("k1/p", "k1-p"):
        found.add(sample(topic, 100.0))
    first, second = found.proposals(100.0, 0, at_end=True)
    assert 'id = "k1-p"' in first.toml
    assert 'id = "k1-p-2"' in second.toml


def test_where_no_number_stands_nothing_is_proposed() -> None:
    found = discovery()
    found.add(sample("lid", 100.0, b"open"))
    assert found.proposals(100.0, 0, at_end=True) == []


def test_beyond_a_bound_further_addresses_are_only_counted() -> None:
    found = discovery()
    for number in range(MOST_ADDRESSES + 3):
        found.add(sample(str(number), 100.0))
    assert len(proposed(found, 100.0, at_end=True)) == MOST_ADDRESSES
    assert found.left_out == 3
