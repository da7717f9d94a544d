"""A turn looks only at what has come due; what comes of it is what a turn that looks at everything gives."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from hypothesis import given
from hypothesis import strategies as st
from watch_limits import BAD, BROKER, EPOCH_MS, IN_DOUBT, SATURATED, UNCERTAIN, a_limit, a_silence, ids

from alerts.watch import Now, TurnInputs, Watch, WatchReading, WatchState
from alerts.watch.agenda import Agenda
from ingest.cellar import EffectiveLimit
from ingest.operator_event import OperatorEvent

BABBLING = a_silence(key="leeside/babbling k1-pressure", at="leeside", quantity="probe", probe="", setpoint=100.0)
ROOM = a_silence(key="leeside/room cellar", at="leeside", quantity="room cellar", probe="", setpoint=60.0, role="room")
SILENCE = a_silence(suppressed_by=(BROKER.key, ROOM.key, BABBLING.key), every_s=40.0)
AIR = a_limit(key="K1/pressure/air", on_delay_s=20.0)
LIMITS = (
    BROKER,
    BABBLING,
    ROOM,
    a_limit(key="K1/pressure/care", setpoint=20.0, deadband=3.0, suppressed_by=(AIR.key,)),
    AIR,
    a_limit(key="K1/pressure/over", kind="high", setpoint=50.0, on_delay_s=0.0, off_delay_s=0.0),
    SILENCE,
    a_silence(key="K1/pressure/bad", setpoint=600.0, role="bad measurement", suppressed_by=(SILENCE.key,)),
    a_limit(key="K2/pressure/low", probe="k2-pressure", on_delay_s=0.0),
    a_silence(
        key="K2/pressure/no-data",
        probe="k2-pressure",
        setpoint=60.0,
        suppressed_by=(BROKER.key, ROOM.key),
        every_s=20.0,
    ),
)


class AllOfIt(Agenda):
    """An agenda on which every limit is due in every turn."""

    def take_due(self, mono: float) -> list[str]:
        super().take_due(mono)
        return [key for key in self.rules if key not in self._untimed]


class PlainWatch(Watch):
    """A watch that looks at every limit in every turn, and carries nothing but the records."""

    def _agenda(self, state: WatchState, now: Now) -> Agenda:
        agenda = AllOfIt(self._rules, self._fresh_s, untimed=self._silences.rooms)
        agenda.note_all(state.records.items(), now.mono)
        return agenda


@dataclass
class Pair:
    """The same turns through both."""

    limits: dict[str, EffectiveLimit]
    state: WatchState = field(default_factory=WatchState)
    plain: WatchState = field(default_factory=WatchState)

    def __post_init__(self) -> None:
        self.watch, self.plain_watch = Watch(self.limits), PlainWatch(self.limits)
        self.next_occurrence, self.plain_occurrence = ids(), ids()

    def edit(self, limits: dict[str, EffectiveLimit]) -> None:
        self.watch, self.plain_watch = Watch(limits), PlainWatch(limits)

    def turn(self, inputs: TurnInputs, now: Now) -> None:
        result = self.watch.turn(self.state, inputs, now, self.next_occurrence)
        plain = WatchState(self.plain.records, self.plain.clocks)
        expected = self.plain_watch.turn(plain, inputs, now, self.plain_occurrence)
        assert result.transitions == expected.transitions
        assert result.outcomes == expected.outcomes
        assert result.changed == expected.changed
        assert result.removed == expected.removed
        assert result.state.records == expected.state.records
        assert result.state.clocks == expected.state.clocks
        self.state, self.plain = result.state, expected.state


PAUSES = (0.5, 1.0, 1.0, 7.0, 20.0, 33.3, 61.0, 120.0)
VALUES = (0.5, 5.0, 5.5, 9.0, 22.0, 30.0, 49.5, 60.0)
QUALITIES = (0, 0, 0, 0, 0, 0, BAD, UNCERTAIN, SATURATED, IN_DOUBT)
PROBES = ("k1-pressure", "k2-pressure")
ASKED = (AIR.key, "K2/pressure/no-data", BROKER.key, "K1/pressure/over")
EMPTIED = (AIR.key, "K2/pressure/low", "K2/pressure/no-data")


@given(st.integers(0, 2**32))
def test_what_comes_of_a_turn_is_what_comes_of_looking_at_everything(seed: int) -> None:
    chance = Random(seed)
    pair = Pair({limit.key: limit for limit in LIMITS})
    second, broker_is_well = 0.0, True
    quiet: dict[str, str] = {}
    for _ in range(150):
        second += chance.choice(PAUSES)
        now = Now(EPOCH_MS + round(second * 1000), 500.0 + second)
        if chance.random() < 0.02:
            pair.edit({limit.key: limit for limit in chance.choice((LIMITS, LIMITS, LIMITS[:6], LIMITS[2:]))})
        if chance.random() < 0.1:
            broker_is_well = not broker_is_well
        if chance.random() < 0.1:
            quiet = {} if quiet else {chance.choice(EMPTIED): "the vessel is empty"}
        events = []
        if chance.random() < 0.1:
            kind = chance.choice(("acknowledge", "acknowledge", "shelve", "unshelve"))
            span_s = 120.0 if kind == "shelve" else None
            events = [OperatorEvent(1, now.utc_ms, kind, chance.choice(ASKED), "Ana", "cleaning", span_s)]
        pair.turn(
            TurnInputs(
                [
                    WatchReading(
                        probe,
                        now.utc_ms + 1000 * chance.choice((0, 0, 0, 0, -40, 8)),
                        chance.choice(VALUES),
                        chance.choice(QUALITIES),
                    )
                    for probe in PROBES
                    if broker_is_well and chance.random() < 0.7
                ],
                {key: now.utc_ms for key in (BROKER.key, BABBLING.key) if broker_is_well and chance.random() < 0.8},
                events,
                quiet,
            ),
            now,
        )
