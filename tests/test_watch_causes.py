"""One cause, one alarm: broker, line, room and ingest take their probes with them, and give them back."""

from __future__ import annotations

from collections.abc import Collection
from random import Random

from cellar_text import MQTT, SITE, cellar, keg, probe, room
from hypothesis import given, settings
from hypothesis import strategies as st
from outages import Outages
from watch_limits import BROKER as BROKER_LIMIT
from watch_limits import Rig, a_limit, a_silence

from alerts.watch import Occasion
from alerts.watch.own_limits import BROKER, INGEST, babbling_key, line_key, room_key, watched_limits

FRONT, BACK, LINE = room_key("front"), room_key("back"), line_key("one")
CAUSES = (BROKER, LINE, FRONT, BACK, INGEST)


def test_a_room_that_falls_silent_is_one_alarm_that_names_its_probes() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(1800, {FRONT})
    rig.until(3000, ())
    raised, returned = rig.messages()
    assert (raised[1:], returned[1:]) == ((FRONT, "raised"), (FRONT, "returned"))
    # No later than the first of its probes' alarms would have been: t1 was last heard at 590 s, and has 120 s.
    assert raised[0] <= 590 + 120 + 5
    assert returned[0] <= 1830
    assert rig.raised(FRONT)[0].explains == ("p1", "p2", "t1", "t2")


def test_a_probe_that_dies_alone_is_its_own_alarm() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(900, {"p1"})
    rig.until(1200, ())
    assert [message[1:] for message in rig.messages()] == [("K1/pressure", "raised"), ("K1/pressure", "returned")]
    assert 120 < rig.messages()[0][0] - 570 <= 155


def test_the_box_of_one_vessel_is_not_the_room() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(1800, {"p1", "t1"})
    assert {key for _, key, _ in rig.messages()} == {"K1/pressure", "K1/temperature"}


def test_a_probe_that_was_silent_before_is_neither_named_nor_raised_with_the_end() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(900, {"p1"})
    rig.until(1800, {"p1", FRONT})
    assert rig.raised(FRONT)[0].explains == ("p2", "t1", "t2")
    rig.until(2400, ())
    assert [message[1:] for message in rig.messages()] == [
        ("K1/pressure", "raised"),
        (FRONT, "raised"),
        (FRONT, "returned"),
        ("K1/pressure", "returned"),
    ]


def test_a_probe_that_stays_silent_when_its_room_is_back_is_raised_after_its_own_time() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(1800, {FRONT})
    rig.until(3000, {"t2"})
    room_back, still = rig.messages()[1:]
    assert room_back[1:] == (FRONT, "returned")
    assert still[1:] == ("K2/temperature", "raised")
    assert 180 < still[0] - room_back[0] <= 190


def test_a_room_with_one_probe_has_no_alarm_of_its_own() -> None:
    kegs = keg("K1", room="cellar") + keg("K2")
    limits = watched_limits(
        cellar(SITE, MQTT, room(), kegs, probe("p1", "K1", topic="a"), probe("p2", "K2", topic="b"))
    )
    assert room_key("cellar") not in limits


def test_a_broker_explains_its_probes_in_a_room_but_not_those_of_a_line() -> None:
    rig = Outages()
    rig.until(600)
    # The broker's switch hangs on the power of the front room.
    rig.until(1800, {BROKER, FRONT})
    rig.until(3000, ())
    assert sorted({key for _, key, _ in rig.messages()}) == [BROKER, FRONT]
    assert rig.raised(BROKER)[0].explains == ("p1", "p2", "p3", "p4", "t3")
    assert len(rig.messages()) == 4


def test_causes_may_end_in_any_order() -> None:
    for outlasting in (BROKER, FRONT):
        rig = Outages()
        rig.until(600)
        rig.until(1500, {BROKER, FRONT})
        rig.until(2400, {outlasting})
        rig.until(3600, ())
        of_probes = [message for message in rig.messages() if not message[1].startswith("leeside/")]
        assert of_probes == []
        _each_begins_and_ends_once(rig)


def test_ingest_takes_all_with_it() -> None:
    rig = Outages()
    rig.until(600)
    rig.until(1800, {INGEST})
    rig.until(3000, ())
    assert [message[1:] for message in rig.messages()] == [(INGEST, "raised"), (INGEST, "returned")]
    assert rig.raised(INGEST)[0].explains == ("p1", "p2", "p3", "p4", "t1", "t2", "t3")


def test_a_probe_that_babbles_explains_that_nothing_of_it_can_be_used_but_no_limit_on_its_values() -> None:
    limits = watched_limits(Outages().cellar)
    babbling = babbling_key("p1")
    suppressed = {key for key, limit in limits.items() if babbling in limit.suppressed_by}
    assert suppressed == {"K1/pressure/no-data", "K1/pressure/bad-measurement"}


def test_a_probe_that_babbles_is_reported_and_not_as_silent() -> None:
    rig = Outages()
    babbling = babbling_key("p1")
    rig.until(600)
    rig.until(900, {babbling})
    rig.until(1200, ())
    assert [message[1:] for message in rig.messages()] == [(babbling, "raised"), (babbling, "returned")]
    assert rig.raised(babbling)[0].explains == ()
    rig.until(1500, {babbling})
    # Cut so far that nothing of it is stored: explained by the same alarm.
    rig.until(2400, {babbling, "p1"})
    rig.until(2600, ())
    assert len(rig.messages()) == 4


def _each_begins_and_ends_once(rig: Outages, but: Collection[str] = ()) -> None:
    """No alarm is raised while it is raised already, none returns that was not raised, and in the end all is well.

    but: what is silent for good.
    """
    standing: set[str] = set()
    for _, step in rig.transitions:
        if step.occasion is Occasion.RAISED:
            assert step.key not in standing, step
            standing.add(step.key)
        elif step.occasion is Occasion.RETURNED:
            assert step.key in standing, step
            standing.discard(step.key)
    assert standing == set(but)


# A third of the usual number of examples: each is more than an hour.
@settings(max_examples=settings().max_examples // 3)
@given(st.integers(0, 2**32))
def test_random_outages(seed: int) -> None:
    """Each cause is reported once each time that it is gone; no probe is raised that a cause explains."""
    chance = Random(seed)
    spans = [
        (cause, begin, begin + chance.randrange(180, 700, 5))
        for cause in CAUSES
        for begin in sorted(chance.sample(range(600, 3600, 750), chance.choice((0, 1, 1, 2))))
    ]
    dead_from = chance.choice((None, 900, 1500, 2500))
    rig = Outages()
    while rig.second < 5000:
        rig.gone = {cause for cause, begin, end in spans if begin <= rig.second < end}
        if dead_from is not None and rig.second >= dead_from:
            rig.gone.add("p1")
        second, known = rig.second, len(rig.transitions)
        before = {key for key, record in rig.state.records.items() if record.track.active}
        rig.step()
        for _, step in rig.transitions[known:]:
            limit = rig.limits[step.key]
            if step.occasion is Occasion.RAISED and limit.probe:
                # Its own whole time has passed since it was last heard and since a cause of its silence ended.
                ended = [at for at, each in rig.transitions if each.key in limit.suppressed_by and at < second]
                assert second - rig.heard.get(limit.probe, 0) > limit.setpoint
                assert not before & set(limit.suppressed_by), (second, step)
                assert second - max(ended, default=0) > limit.setpoint or not rig.carriers[limit.probe] & rig.gone
    _each_begins_and_ends_once(rig, but=() if dead_from is None else {"K1/pressure/no-data"})
    for cause, begin, end in spans:
        others = [span for span in spans if span[1] < end + 300 and begin < span[2] + 300]
        if len(others) == 1:
            steps = [str(step.occasion) for at, step in rig.transitions if step.key == cause and begin < at < end + 60]
            assert steps == ["raised", "returned"], (cause, begin, end)
    if dead_from is not None:
        assert rig.state.records["K1/pressure/no-data"].alarm.state == "unacknowledged"


def test_a_backlog_raises_nothing_again_that_had_returned_and_records_what_happened_in_it() -> None:
    """A broker is gone for three hours and then brings what it kept: an hour too low among normal readings."""
    low = a_limit(on_delay_s=60.0, off_delay_s=60.0)
    silence = a_silence(suppressed_by=(BROKER_LIMIT.key,))
    rig = Rig(BROKER_LIMIT, low, silence)
    for second, value in ((0, 3.0), (60, 3.0), (90, 20.0), (120, 20.0), (150, 20.0)):
        rig.at(second, value, well=[BROKER])
    assert rig.state(low.key) == "returned"
    rig.at(400)
    rig.second = 3 * 3600
    backlog = [rig.reading(3.0 if 3600 < second < 7200 else 20.0, second) for second in range(180, 3 * 3600, 30)]
    steps = rig.turn(backlog, well=[BROKER]).transitions
    announced = [(step.key, step.occasion) for step in steps if step.occasion]
    assert sorted(announced) == [(low.key, "raised"), (low.key, "returned"), (BROKER, "returned")]
    again = [rig.reading(20.0, second) for second in range(180, 3 * 3600, 30)]
    assert rig.turn(again).transitions == [], "what comes a second time is late"
