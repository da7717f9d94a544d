"""Whether probes of a room fell silent together."""

from __future__ import annotations

import pytest

from alerts.watch.room_silence import RoomProbe, Verdict, verdict

MINUTE = 60.0


def a_probe(seen: float, every_s: float = 60.0, place: str = "K1", no_data_s: float | None = None) -> RoomProbe:
    """A probe that was last heard at that second; no_data_s: by default three intervals, at least two minutes."""
    return RoomProbe(place, every_s, max(3 * every_s, 120.0) if no_data_s is None else no_data_s, seen)


@pytest.mark.parametrize(
    ("why", "due", "others", "mono", "expected"),
    [
        ("alone", [a_probe(0)], [], 181, Verdict.EACH),
        ("two of two", [a_probe(0)], [a_probe(50)], 181, Verdict.ROOM),
        ("the other one goes on", [a_probe(0)], [a_probe(130)], 181, Verdict.EACH),
        ("one of three goes on", [a_probe(0), a_probe(0)], [a_probe(170)], 181, Verdict.EACH),
        # It missed a message long before the one whose time runs out was last heard.
        ("the other one fell silent before", [a_probe(1000)], [a_probe(0, no_data_s=7200)], 1181, Verdict.EACH),
        # Its message is missing 90 s + 10 s after 100 s, which is within a minute of 181 s.
        ("the other one decides soon", [a_probe(0)], [a_probe(99)], 181, Verdict.WAIT),
        ("and then has decided", [a_probe(0)], [a_probe(99)], 199, Verdict.ROOM),
        ("or has been heard", [a_probe(0)], [a_probe(190)], 191, Verdict.EACH),
        ("a slow one cannot decide", [a_probe(0)], [a_probe(0, 600)], 181, Verdict.EACH),
        ("three at one place and a slow one", [a_probe(0)] * 3, [a_probe(0, 600)], 181, Verdict.EACH),
        (
            "three at two places and a slow one",
            [a_probe(0), a_probe(10, place="K2")],
            [a_probe(20), a_probe(0, 600, "K3")],
            181,
            Verdict.ROOM,
        ),
        # An interval of a tenth of a second: what is under way to the store is not missing.
        ("a quick one that is heard", [a_probe(0)], [a_probe(178, 0.1)], 181, Verdict.EACH),
        (
            "a no-data time shorter than the way",
            [a_probe(0, 1, no_data_s=5)],
            [a_probe(1, 1, no_data_s=5)],
            6,
            Verdict.ROOM,
        ),
    ],
)
def test_the_verdict(why: str, due: list[RoomProbe], others: list[RoomProbe], mono: float, expected: Verdict) -> None:
    assert verdict(due, others, mono) is expected, why


def test_it_never_waits_for_longer_than_a_minute() -> None:
    for seen in range(0, 400, 10):
        for every_s in (10.0, 60.0, 300.0, 3600.0):
            decision = verdict([a_probe(0)], [a_probe(seen, every_s)], 180 + MINUTE + 1)
            assert decision is not Verdict.WAIT
