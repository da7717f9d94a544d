"""Judgements on their way to the limits: what decides, which go first where many wait, and that none waits for ever."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from a_store import NOW, new_store
from cellar_text import SITE, keg, limit, mqtt
from hypothesis import given
from hypothesis import strategies as st

from alerts.turning.judgement_feed import JudgementFeed, as_reading
from alerts.turning.judgement_queue import JudgementQueue
from alerts.watch.turn import JUDGEMENT_FRESH_S
from alerts.watch.turn_inputs import WatchReading, may_be_judged
from ingest.cellar import EffectiveLimit, parse_cellar
from ingest.judgement import Judgement
from ingest.store import Store
from ingest.store.judgements import keep_judgements

KEGS = ("K1", "K2", "K3", "K4", "K5")
LEAK = Judgement("K1", "leak_rate", NOW, 0.4, 0.2, 0.7, "slow leak")
KPA = LEAK._replace(name="compensated_pressure", value=50.0, low=49.0, high=51.0)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with new_store(tmp_path) as made:
        yield made


@pytest.fixture
def limits(tmp_path: Path) -> Mapping[str, EffectiveLimit]:
    """On the leak of each keg above 0.5 mL/min, and on the compensated pressure of K1 below 30 kPa."""
    tables = [keg(id) + limit(at=id, quantity="leak_rate", high="0.5 mL/min") for id in KEGS]
    tables.append(limit(at="K1", quantity="compensated_pressure", low="30 kPa"))
    cellar = parse_cellar("\n".join((SITE, mqtt(), *tables)), file="cellar.toml", base=tmp_path)
    return {each.key: each for each in cellar.limits}


def keep(store: Store, *judgements: Judgement, judge: str = "gas") -> None:
    with store.write() as connection:
        keep_judgements(connection, judge, judgements)


def given_places(readings: object) -> list[str]:
    assert isinstance(readings, (list, tuple))
    return sorted({reading.probe.partition("/")[0] for reading in readings})


@pytest.mark.parametrize(
    ("judgement", "late_ms", "decides"),
    [
        (LEAK, 0, True),
        (LEAK, round(JUDGEMENT_FRESH_S * 1000), True),
        (LEAK, round(JUDGEMENT_FRESH_S * 1000) + 1, False),
        (LEAK._replace(finding="cannot tell yet"), 0, False),
        (LEAK._replace(finding="no judgement"), 0, False),
        (LEAK._replace(value=None), 0, False),
    ],
)
def test_what_decides_nothing_holds_the_state(judgement: Judgement, late_ms: int, decides: bool) -> None:
    reading = as_reading(judgement, NOW + late_ms)
    assert may_be_judged(reading.value, reading.quality) is decides
    assert (reading.probe, reading.at_ms, reading.finding) == ("K1/leak_rate", NOW, judgement.finding)


def test_a_turn_that_is_not_kept_is_given_the_same_again(store: Store, limits: Mapping[str, EffectiveLimit]) -> None:
    feed = JudgementFeed(store, limits)
    assert feed.readings(NOW) == ()
    keep(store, LEAK)
    first = feed.readings(NOW)
    assert len(first) == 1
    assert feed.readings(NOW) == first
    feed.taken()
    assert feed.readings(NOW) == ()
    keep(store, KPA, judge="other")
    assert [reading.probe for reading in feed.readings(NOW)] == ["K1/compensated_pressure"]
    assert len(JudgementFeed(store, limits).readings(NOW)) == 2


def test_what_no_limit_looks_at_is_not_given(store: Store, limits: Mapping[str, EffectiveLimit]) -> None:
    feed = JudgementFeed(store, limits)
    keep(store, LEAK._replace(name="gas_gain_rate"), KPA._replace(place="K2"))
    assert feed.readings(NOW) == ()
    assert list(feed.compensated(NOW)) == ["K2"], "and yet it is known that the pressure is"
    feed.watch({})
    keep(store, LEAK)
    assert feed.readings(NOW) == ()


def test_all_that_is_new_at_a_place_is_given_in_one_turn(store: Store, limits: Mapping[str, EffectiveLimit]) -> None:
    feed = JudgementFeed(store, limits)
    keep(store, *(LEAK._replace(place=id) for id in KEGS), judge="gas")
    keep(store, KPA, judge="other")
    assert [reading.probe for reading in feed.readings(NOW, most=1)] == ["K1/compensated_pressure", "K1/leak_rate"]
    assert feed.has_more
    feed.taken()
    assert [reading.probe for reading in feed.readings(NOW, most=9)] == [f"{id}/leak_rate" for id in KEGS[1:]]
    assert not feed.has_more


def test_what_is_beyond_a_limit_goes_first(store: Store, limits: Mapping[str, EffectiveLimit]) -> None:
    feed = JudgementFeed(store, limits)
    keep(store, *(LEAK._replace(place=id, value=0.6 if id == "K5" else 0.4) for id in KEGS))
    assert given_places(feed.readings(NOW, most=2)) == ["K1", "K5"]


def test_a_number_that_decides_nothing_is_not_beyond_a_limit(
    store: Store, limits: Mapping[str, EffectiveLimit]
) -> None:
    feed = JudgementFeed(store, limits)
    keep(store, *(LEAK._replace(place=id, value=0.6, finding="cannot tell yet") for id in KEGS))
    assert given_places(feed.readings(NOW, most=2)) == ["K1", "K2"]


def test_of_what_waits_the_newest_is_given_and_nothing_that_was_withdrawn(
    store: Store, limits: Mapping[str, EffectiveLimit]
) -> None:
    feed = JudgementFeed(store, limits)
    keep(store, *(LEAK._replace(place=id) for id in KEGS))
    feed.readings(NOW, most=1)
    feed.taken()
    keep(store, LEAK._replace(place="K2", at_ms=NOW + 1, value=0.1), LEAK._replace(place="K3", at_ms=NOW + 1))
    assert feed.readings(NOW, most=9) == [
        WatchReading("K2/leak_rate", NOW + 1, 0.1, finding="slow leak"),
        WatchReading("K3/leak_rate", NOW + 1, 0.4, finding="slow leak"),
    ]
    feed.taken()
    assert feed.readings(NOW) == ()


def test_at_a_start_it_is_known_at_once_whose_pressure_is_compensated(
    store: Store, limits: Mapping[str, EffectiveLimit]
) -> None:
    keep(store, *(KPA._replace(place=id) for id in KEGS))
    feed = JudgementFeed(store, limits)
    feed.readings(NOW, most=1)
    assert list(feed.compensated(NOW)) == [*KEGS], "before all of them have been judged"


# ---- the queue ------------------------------------------------------------------------------------------------------

PLACES = [f"K{number}" for number in range(12)]
ANSWERS = st.lists(
    st.dictionaries(st.sampled_from(PLACES), st.booleans(), max_size=12), min_size=1, max_size=30
)  # of each turn: the places of an answer, and whether they are urgent


@given(ANSWERS, st.integers(1, 8))
def test_each_place_has_its_turn_however_many_are_urgent(answers: list[dict[str, bool]], most: int) -> None:
    queue = JudgementQueue()
    since: dict[str, int] = {}
    for turn, answer in enumerate([*answers, *({} for _ in PLACES)]):
        queue.put(answer, [place for place, urgent in answer.items() if urgent], after=turn)
        for place in answer:
            since.setdefault(place, turn)
        first = queue.first(most)
        assert len(first) == len(set(first)) == min(most, len(since))
        assert queue.after(first) == min((since[place] for place in first), default=0)
        queue.remove(first)
        for place in first:
            # At least one place of each turn is for what has waited longest.
            assert turn - since.pop(place) < len(PLACES)
    assert since == {}
    assert len(queue) == 0


@given(st.sets(st.sampled_from(PLACES)), st.integers(1, 16))
def test_urgent_places_go_first_but_for_a_share(urgent: set[str], most: int) -> None:
    queue = JudgementQueue()
    queue.put(PLACES, [place for place in PLACES if place in urgent], after=0)
    first = queue.first(most)
    share = int(0.75 * most)
    assert sum(place in urgent for place in first) >= min(len(urgent), share)
    calm = [place for place in PLACES if place not in urgent]
    assert [place for place in first if place not in urgent] == calm[: len(set(first) - urgent)], "in their order"


@given(st.lists(st.sampled_from(PLACES), unique=True), st.lists(st.sampled_from(PLACES), unique=True))
def test_a_place_that_comes_again_keeps_its_turn(before: list[str], again: list[str]) -> None:
    queue = JudgementQueue()
    queue.put(before, [], after=1)
    queue.put(again, [], after=2)
    assert queue.first(len(PLACES)) == [*before, *(place for place in again if place not in before)]
    assert queue.after(before) == (1 if before else 0)
