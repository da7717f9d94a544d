"""What a history is of, and from when to when: pure parts, and what the journal says of a lot that was split."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from a_store import NOW
from a_winter import DAY_MS, LOT, Winter, winter_cellar
from hypothesis import given
from hypothesis import strategies as st

from alerts.errors import HistoryRefused
from alerts.view.history.answer import BandColumns, EstimateAnswer, LotStay
from alerts.view.history.rows import history_table
from alerts.view.history.span import SPANS_MS, history_span
from alerts.view.history.subject import HistorySubject, subject_of
from alerts.view.history.whole import history_of

ZONE = ZoneInfo("Europe/Ljubljana")


@given(span=st.text(max_size=12) | st.sampled_from([*SPANS_MS, "all", ""]), since=st.text(max_size=30), until=st.text())
def test_whatever_is_asked_for_gives_a_span_or_a_refusal(span: str, since: str, until: str) -> None:
    try:
        asked = history_span(span, since, until, ZONE, NOW, lambda: None)
    except HistoryRefused as refused:
        assert str(refused)
    else:
        assert asked.to_ms - asked.from_ms >= 60_000


@given(
    st.tuples(
        *(st.integers(0, 30) for _ in range(3)),
        st.sampled_from(["T00:00", " 7:30", "T25:00", "Z", "T08:30:00Z", "T08:30:00+01:00", ""]),
    )
)
def test_dates_that_there_are_not_are_refused(parts: tuple[int, int, int, str]) -> None:
    text = f"20{parts[0]:02d}-{parts[1]:02d}-{parts[2]:02d}{parts[3]}"
    try:
        asked = history_span("", text, "", ZONE, NOW, lambda: None)
    except HistoryRefused as refused:
        assert str(refused)
    else:
        assert asked.to_ms == NOW


def test_a_named_span_ends_now_or_where_it_is_told_to() -> None:
    assert history_span("", "", "", ZONE, NOW, lambda: None) == history_span("month", "", "", ZONE, NOW, lambda: None)
    week = history_span("week", "", "2026-11-20T12:00:00Z", ZONE, NOW, lambda: None)
    assert (week.to_ms - week.from_ms, week.name) == (7 * DAY_MS, "")
    everything = history_span("all", "", "", ZONE, NOW, lambda: NOW - 400 * DAY_MS)
    assert (everything.from_ms, everything.to_ms, everything.name) == (NOW - 400 * DAY_MS, NOW, "all")
    # Where nothing is known yet there is still a span to show.
    assert history_span("all", "", "", ZONE, NOW, lambda: None).from_ms == NOW - 30 * DAY_MS


def vessel(*stays: tuple[int, int | None]) -> HistorySubject:
    return HistorySubject("vessel", "K1", "", tuple(LotStay("A", "K1", *stay, 1.0) for stay in stays))


@pytest.mark.parametrize(
    ("subject", "parts"),
    [
        (vessel(), [(0, 100)]),
        (vessel((20, None)), [(0, 100)]),
        (vessel((20, 40)), [(0, 40)]),
        (vessel((20, 40), (60, 80)), [(0, 40), (60, 80)]),
        (vessel((20, 40), (30, 70), (90, None)), [(0, 70), (90, 100)]),
        (vessel((-50, -20)), []),
    ],
)
def test_a_vessel_is_empty_between_wines_and_after_the_last(
    subject: HistorySubject, parts: list[tuple[int, int]]
) -> None:
    assert subject.without_empty(0, 100) == parts


@pytest.fixture(scope="module")
def winter(tmp_path_factory: pytest.TempPathFactory) -> Winter:
    return Winter(winter_cellar(tmp_path_factory.mktemp("winter")), NOW, cadence_s=3600).fill()


def test_limits_that_say_nothing_of_an_empty_vessel_rest_after_it_was_racked(winter: Winter) -> None:
    cellar, store = winter.cellar, winter.store
    with store.read():
        subject = subject_of(cellar, store, vessel="K1")
        answer = history_of(cellar, store, subject, history_span("season", "", "", ZONE, NOW, lambda: None), NOW)
    pressure = next(pane for pane in answer.panes if pane.quantity == "pressure")
    ends = {limit.limit: limit.to_ms for limit in pressure.limits}
    racked_ms = NOW - 42 * DAY_MS
    assert (ends["K1/pressure/care"], ends["K1/pressure/air"]) == (racked_ms, racked_ms)
    # An empty keg bursts as well.
    assert ends["K1/pressure/over"] == NOW


def test_a_lot_that_only_topped_another_wine_is_not_followed_there(winter: Winter) -> None:
    facts = {"lot": "refosk-26", "name": "Refošk", "style": "red"}
    winter.act(30, "lot", facts)
    winter.act(30, "first-filling", {"vessel": "C1", "lot": "refosk-26", "volume": "22 L"})
    winter.act(5, "topping", {"vessel": "C1", "from": "K2", "volume": "0.4 L"})
    with winter.store.read():
        white = subject_of(winter.cellar, winter.store, lot=LOT)
        carboy = subject_of(winter.cellar, winter.store, vessel="C1")
    assert white.vessels == ("K1", "K2")
    assert [(stay.lot, stay.to_ms) for stay in carboy.stays] == [("refosk-26", None)]


def test_a_cylinder_and_a_room_have_a_history_of_their_own(winter: Winter) -> None:
    with winter.store.read():
        for place, kind in (("N2", "cylinder"), ("cellar", "room"), ("K1", "vessel")):
            subject = subject_of(winter.cellar, winter.store, place=place)
            assert (subject.kind, subject.vessels) == (kind, (place,))
        room = subject_of(winter.cellar, winter.store, place="cellar")
        span = history_span("week", "", "", ZONE, NOW, lambda: None)
        assert history_of(winter.cellar, winter.store, room, span, NOW).never == ["temperature", "barometric pressure"]


def test_where_nothing_was_measured_the_table_has_rows_of_the_estimate(winter: Winter) -> None:
    with winter.store.read():
        subject = subject_of(winter.cellar, winter.store, vessel="C1")
        span = history_span("week", "", "", ZONE, NOW, lambda: None)
        answer = history_of(winter.cellar, winter.store, subject, span, NOW)
    answer.entries.clear()
    times = [NOW - 4 * DAY_MS, NOW - 2 * DAY_MS]
    band = BandColumns("estimate", "C1", 0, times, [20.0, 18.0], [25.0, 23.0], [30.0, 28.0])
    table = history_table(answer, EstimateAnswer([band], [], "pK 1.81"))
    free = [row.cells[0].lines for row in table.rows]
    assert free[-1] == ("25 (20 to 30)",)
