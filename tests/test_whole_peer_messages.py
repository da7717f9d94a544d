"""The real ingest daemon at a scripted broker: what a message may be, and a broker that does not do its part."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from eventually import eventually
from scripted_peer import PINGREQ, PUBCOMP, PUBREC
from witnessed_ingest import (
    Broker,
    Ingest,
    held,
    running_ingest,
    witnessed_broker,
)

pytestmark = pytest.mark.whole


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with witnessed_broker(tmp_path) as broker:
        yield broker


@pytest.fixture
def ingest(tmp_path: Path, broker: Broker, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ingest]:
    monkeypatch.setattr("ingest.daemon.PULSE_S", 0.2)
    with running_ingest(tmp_path) as running:
        yield running


# ---- what a message may be -----------------------------------------------------------------------------------------


def test_what_the_broker_had_kept(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept()
    broker.bare(1, 51, retained=True)
    broker.dated(2, 52, retained=True)
    broker.read_pubacks(1, 2)
    broker.connection.close()
    broker.accept()
    broker.bare(1, 51, retained=True)
    broker.dated(2, 52, retained=True)
    broker.bare(3, 53)
    broker.read_pubacks(1, 2, 3)
    assert ingest.numbers() == [52, 53]
    kept = "k1-bare: the broker had kept '51', of unknown age; shown here, not stored"
    counted = "2 x retained without a time of its own: k1-bare, mqtt bare"
    eventually(lambda: {kept, counted} <= {line.strip().split(", last")[0] for line in ingest.now(capsys).splitlines()})


def test_topics_that_are_no_utf_8(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    broker.bare(1, 61)
    broker.unreadable(2, b"ba\xffre", b"62")
    broker.bare(3, 63)
    broker.read_pubacks(1, 2, 3)
    assert ingest.numbers() == [61, 63]
    eventually(lambda: ingest.told()["bad_topics"] == 1)


def test_qos_0_and_2_between(ingest: Ingest, broker: Broker) -> None:
    broker.accept()
    broker.bare(0, 71, qos=0)
    broker.bare(1, 72)
    broker.bare(2, 73, qos=2)
    broker.bare(3, 74)
    broker.read_pubacks(1, 3)
    assert [packet[0] >> 4 for packet in broker.connection.received if packet[0] >> 4 in (PUBREC, PUBCOMP)] == [PUBREC]
    broker.connection.send(b"\x62\x02\x00\x02")  # PUBREL: only now it counts as delivered
    assert broker.connection.read_until(PUBCOMP)[2:4] == b"\x00\x02"
    assert ingest.numbers() == [71, 72, 74, 73]


def test_payloads_that_are_far_too_large(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept()
    broker.unreadable(1, b"bare", b"1" * 300_000)
    broker.unreadable(2, b"dated", b'{"v": 1, "at": "' + b"x" * 2_000_000 + b'"}')
    broker.unreadable(3, b"dated", b"[" * 60_000)
    broker.bare(4, 81)
    broker.read_pubacks(1, 2, 3, 4)
    assert ingest.numbers() == [81]
    eventually(lambda: "Not understood" in ingest.now(capsys))
    shown = ingest.now(capsys)
    for reason in ("too long: k1-bare", "too large: k1-dated", "nested too deep: k1-dated"):
        assert f"1 x {reason}" in shown
    assert all(len(line) < 200 for line in shown.splitlines())


@pytest.mark.parametrize(
    "garbage",
    [b"\xff" * 40, b"\x00" * 40, b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x32\x05\x00\x09ab", b"\x40\x00"],
    ids=["ones", "zeros", "http", "topic too short", "puback of nothing"],
)
def test_garbage_after_a_good_packet(ingest: Ingest, broker: Broker, garbage: bytes) -> None:
    broker.accept()
    with held(ingest.store_path):
        broker.bare(1, 91)
        broker.connection.send(garbage)
        broker.connection.close()
    # What is good was taken; it was acknowledged nowhere, so it comes again.
    broker.accept()
    broker.bare(1, 91, repeat=True)
    broker.bare(2, 92)
    broker.read_pubacks(1, 2)
    assert ingest.numbers() == [91, 92]


# ---- a broker that does not do its part ----------------------------------------------------------------------------


def test_a_broker_that_says_nothing(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    silent = broker.peer.accept()
    silent.take_connect()
    eventually(lambda: "takes the connection but does not answer" in ingest.now(capsys))
    broker.accept()
    broker.bare(1, 101)
    broker.read_pubacks(1)
    eventually(lambda: "broker: connected" in ingest.now(capsys))


def test_a_broker_that_falls_silent_in_the_middle(
    ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]
) -> None:
    broker.accept()
    broker.bare(1, 111)
    broker.read_pubacks(1)
    broker.connection.read_until(PINGREQ)  # after 5 s; it gets no answer
    eventually(lambda: not ingest.told()["connected"])
    broker.accept()
    broker.bare(2, 112, repeat=True)
    broker.read_pubacks(2)
    assert ingest.numbers() == [111, 112]
    eventually(lambda: "broker: connected" in ingest.now(capsys))


def test_a_subscription_that_is_refused(ingest: Ingest, broker: Broker, capsys: pytest.CaptureFixture[str]) -> None:
    broker.accept(granted=b"\x87\x01")
    broker.dated(1, 121)
    broker.read_pubacks(1)
    eventually(lambda: "broker: does not let us read bare" in ingest.now(capsys))
    assert ingest.numbers() == [121]
