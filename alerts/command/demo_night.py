"""The last day of the demo's cellar in fast motion, through the judge of gas and the limits that watch it for real.

The readings carry their own times and go into the store; the judge answers as of each time from what lies before it,
and the limits are judged in memory by what it says. So what is found is found, and nothing is put on.
"""

from __future__ import annotations

__all__ = ["play_last_day"]

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, tzinfo
from itertools import count
from typing import TYPE_CHECKING, Final

from alerts.blanket.details import BlanketShown
from alerts.blanket.judge import GasJudge
from alerts.turning.judgement_feed import as_reading
from alerts.view.format import value_text
from alerts.view.gas.blanket_lines import blanket_line, blanket_of
from alerts.view.gas.gas_alarm_name import gas_alarm_name
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import Occasion
from alerts.watch.journal_suppression import JournalSuppression
from alerts.watch.turn import Watch
from alerts.watch.turn_inputs import Now, TurnInputs, WatchReading
from alerts.watch.watch_state import WatchState
from ingest.cellar import Cellar, EffectiveLimit
from ingest.probes.binding import declarations
from ingest.reading import Quality, Reason, quality_code
from ingest.store import Store
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.scales import scales, value_at
from ingest.store.readings.series import declare

if TYPE_CHECKING:
    from ingest.simulation.scenario import MillLane

VESSEL: Final = "K2"
_MINUTE_MS: Final = 60_000
# For the night a look every hour is enough; a leak is looked for every minute, as it always is.
_NIGHT_STEP_MS: Final = 60 * _MINUTE_MS
_NIGHT_MS: Final = 22 * 60 * _MINUTE_MS
_SHOWN_MS: Final = 4 * 3_600_000
# What a plain limit on the gauge would be set to, kPa: the default *care*.
_PLAIN_KPA: Final = 20.0
_IMPORTED: Final = quality_code(Quality.GOOD, Reason.IMPORTED)
_PLACE_LIMITS: Final = ("low", "high", "rate")


def play_last_day(store: Store, cellar: Cellar, lane: MillLane, show: Callable[[str], None]) -> None:
    """Bring in the last day of readings, and show what is found on the way: a cold night, then a lid that leaks.

    lane: at the time when the night begins. show: prints a line.
    """
    night = _FastMotion(store, cellar, lane)
    night.look(lane.night_ms)
    show(f"The last day in fast motion: a cold night comes. {night.line()}")
    shown_ms, raised, plain_ms = lane.night_ms, 0, None
    morning_ms = min(lane.night_ms + _NIGHT_MS, lane.leak_ms)
    for at_ms in range(lane.night_ms + _NIGHT_STEP_MS, morning_ms, _NIGHT_STEP_MS):
        raised += len(night.look(at_ms))
        if night.shown is not None and night.shown.raw_kpa is not None and night.shown.raw_kpa < _PLAIN_KPA:
            plain_ms = plain_ms or at_ms
        if at_ms - shown_ms >= _SHOWN_MS:
            shown_ms = at_ms
            show(night.line())
    show(_outcome(night, raised, plain_ms))
    night.look(lane.leak_ms)
    show(f"{night.clock()}: the lid seal of {VESSEL} begins to leak.")
    for at_ms in range(lane.leak_ms + _MINUTE_MS, lane.end_ms, _MINUTE_MS):
        for step in night.look(at_ms):
            show(f"{night.clock()}: {night.name(step)}. It has leaked for {(at_ms - lane.leak_ms) // _MINUTE_MS} min.")
            show(night.line())
    night.look(lane.end_ms)


def _outcome(night: _FastMotion, raised: int, plain_ms: int | None) -> str:
    no_alarm = "No alarm in that night" if not raised else f"{raised} alarms in that night"
    if plain_ms is None:
        return f"{no_alarm}."
    at = _time_of_day(plain_ms, night.cellar.site.zone)
    limit = value_text("pressure", _PLAIN_KPA, night.cellar.site.units)
    return f"{no_alarm}, where a plain limit of {limit} on the gauge would have raised one at {at}."


def _time_of_day(at_ms: int, zone: tzinfo) -> str:
    return f"{datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(zone):%H:%M}"


class _FastMotion:
    """Store, judge and limits at a time in the past, up to which they have looked. shown: how K2 is judged."""

    def __init__(self, store: Store, cellar: Cellar, lane: MillLane) -> None:
        self.cellar = cellar
        self.shown: BlanketShown | None = None
        self._at_ms = lane.night_ms
        self._store = store
        self._lane = lane
        self._series = declare(store, declarations(cellar), lane.night_ms)
        self._scales = {probe: scales(store, series) for probe, series in self._series.items()}
        self._appender = Appender(store)
        self._judge = GasJudge()
        self._limits = {limit.key: limit for limit in cellar.limits if limit.kind in _PLACE_LIMITS}
        self._watch, self._state = Watch(self._limits), WatchState()
        self._suppression = JournalSuppression(self._limits)
        self._numbers = count(1)

    def look(self, at_ms: int) -> Sequence[Transition]:
        """Go on to a time (UTC ms), and give the alarms that are raised on the way."""
        readings = list(self._readings(at_ms))
        judgements = self._judge.judge(self.cellar, self._store, at_ms)
        with self._store.write() as connection:
            keep_judgements(connection, self._judge.name, judgements)
        self._at_ms = at_ms
        self.shown = blanket_of((each for each in judgements if each.place == VESSEL), at_ms)
        decided = [each.place for each in judgements if each.name == "compensated_pressure" and each.decides]
        inputs = TurnInputs(
            [*readings, *(as_reading(judgement, at_ms) for judgement in judgements)],
            quiet=self._suppression.keys((), (), (), decided),
        )
        result = self._watch.turn(self._state, inputs, Now(at_ms, at_ms / 1000), lambda: str(next(self._numbers)))
        self._state = result.state
        return [step for step in result.transitions if step.occasion is Occasion.RAISED]

    def _readings(self, until_ms: int) -> Iterator[WatchReading]:
        for probe, sent in self._lane.past_readings(until_ms=until_ms):
            series, own_scales = self._series[probe], self._scales[probe]
            self._appender.append([(series, at_ms, number, _IMPORTED) for at_ms, number, _ in sent])
            for at_ms, number, _ in sent:
                yield WatchReading(probe, at_ms, value_at(own_scales, at_ms, number))

    def clock(self) -> str:
        """The time of day that it has come to."""
        return _time_of_day(self._at_ms, self.cellar.site.zone)

    def line(self) -> str:
        """How the gas of K2 is judged, with the time of day."""
        if self.shown is None:
            return f"{self.clock()}: the gas of {VESSEL} is not judged."
        site = self.cellar.site
        judged = blanket_line(self.shown, site.zone, site.units, self._at_ms).removeprefix("blanket: ")
        return f"{self.clock()}: {VESSEL} {judged}."

    def name(self, step: Transition) -> str:
        """What an alarm that was raised says."""
        limit: EffectiveLimit = self._limits[step.key]
        named = gas_alarm_name(limit, step.value)
        return f"alarm, {limit.priority} priority: " + (step.key if named is None else f"{limit.at} {named}")
