"""A simulated cellar with its store, its turns and its mail, in a time that is only counted: for test_week.py.

The physics is that of ``ingest.simulation``; readings reach the store through the real Appender, as ingest appends
them, and the real Turner and the real judge of gas judge them. Nothing waits.
"""

from __future__ import annotations

__all__ = ["BARN", "CELLAR_ROOM", "START_MS", "Letter", "WeekCellar", "at"]

from collections import deque
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any, Final, NamedTuple

from cellar_text import carboy, cylinder, keg, limit, mail, mqtt, probe, room, serial, site
from turning_bench import well

from alerts.blanket.judge import GasJudge
from alerts.message.collecting import Collector
from alerts.message.outbox import Delivered, Outbox
from alerts.turning.turner import Turner
from alerts.watch.turn_inputs import Now
from ingest.cellar import parse_cellar
from ingest.journal.entry import Draft
from ingest.journal.kinds import parse_body
from ingest.probes.binding import declarations
from ingest.pulse import BrokerPulse, IngestPulse, LinePulse
from ingest.reading import Quality, Reason, quality_code
from ingest.simulation.cellar import Deed, SimulatedCellar
from ingest.simulation.cylinder import SimulatedCylinder
from ingest.simulation.instrument import Instrument, Measured
from ingest.simulation.physics import GLASS_EXPANSION, cylinder_moles
from ingest.simulation.vessel import Airlock, SimulatedVessel
from ingest.simulation.weather import Weather
from ingest.store import create_or_open
from ingest.store.alarms.alarm_record import alarm_rows, transitions
from ingest.store.alarms.messages import MessageRow
from ingest.store.alarms.operator_events import append_event
from ingest.store.journal.entries import write_entry
from ingest.store.judgements import keep_judgements
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

# Midnight in Ljubljana at the beginning of Monday, 2 March 2026.
START_MS: Final = int(datetime(2026, 3, 1, 23, tzinfo=UTC).timestamp() * 1000)
CELLAR_ROOM: Final = "cellar"
BARN: Final = "barn"
DAY_S: Final = 86_400.0
BOOT: Final = "week"
# Turns are far apart while nothing happens, but closer than what counts as a gap in the watch.
CALM_STEP_S: Final = 45.0
CLOSE_STEP_S: Final = 5.0
# The gas is judged so often; a running leeside does so each minute.
JUDGE_S: Final = 300.0
_MONO_AT_START: Final = 1000.0
_EVERY_MS: Final = 60_000
_LINE: Final = "bench-line"
_BACKLOG: Final = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)

_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "end")
# Mean and swing of the nights: 12.5 ± 3 °C; the wine follows slowly.
_MEAN_C: Final = 12.5
_HALF_SWING_C: Final = 3.0


def at(day: int, time: str) -> float:
    """A moment in seconds since the beginning of the week. day: 1 is Monday; time: local, as 14:30."""
    hours, minutes = time.split(":")
    return (day - 1) * DAY_S + int(hours) * 3600.0 + int(minutes) * 60.0


class Letter(NamedTuple):
    """A mail that went out. at_s: seconds since the beginning of the week; occasion: as the outbox keeps it."""

    at_s: float
    occasion: str
    subject: str
    body: str

    @property
    def when(self) -> str:
        """Day of the week and local time."""
        day, second = divmod(round(self.at_s), int(DAY_S))
        return f"{_DAYS[min(day, 7)]} {second // 3600:02}:{second % 3600 // 60:02}"


def _probe(instrument: Instrument, room_id: str | None = None) -> str:
    quantity: dict[str, Any] = {"quantity": instrument.quantity, "unit": instrument.unit, "every": "60 s"}
    if instrument.quantity == "temperature":
        quantity["mounted"] = instrument.mounted
    wiring: dict[str, Any] = {"topic": f"cellar/{instrument.probe}"}
    if instrument.probe in BY_LINE:
        wiring = {"topic": None, "serial": _LINE, "pattern": f"{instrument.probe} (?P<value>[-+0-9.]+)"}
    elif instrument.probe in WITH_TIME:
        wiring |= {"payload": "json", "pointer": "/v", "time_pointer": "/at"}
    return probe(instrument.probe, room_id or instrument.place, **quantity, **wiring)


INSTRUMENTS: Final = (
    Instrument("k1-pressure", "K1", "pressure", "kPa", 10, 0.05, _EVERY_MS),
    Instrument("k1-temperature", "K1", "temperature", "degC", 16, 0.03, _EVERY_MS, mounted="wall"),
    Instrument("k2-pressure", "K2", "pressure", "kPa", 10, 0.05, _EVERY_MS),
    Instrument("k2-temperature", "K2", "temperature", "degC", 16, 0.03, _EVERY_MS, mounted="wall"),
    Instrument("k3-pressure", "K3", "pressure", "psi", 100, 0.008, _EVERY_MS),
    Instrument("k4-pressure", "K4", "pressure", "kPa", 10, 0.05, _EVERY_MS),
    Instrument("c1-temperature", "C1", "temperature", "degC", 16, 0.03, _EVERY_MS),
    Instrument("c1-pressure", "C1", "pressure", "kPa", 100, 0.005, _EVERY_MS),
    Instrument("c2-temperature", "C2", "temperature", "degC", 16, 0.03, _EVERY_MS),
    Instrument("n2-pressure", "N2", "pressure", "bar", 10, 0.04, _EVERY_MS),
    Instrument("cellar-temperature", CELLAR_ROOM, "temperature", "degC", 16, 0.03, _EVERY_MS, mounted="air"),
    Instrument("cellar-barometer", CELLAR_ROOM, "barometric_pressure", "hPa", 10, 0.05, _EVERY_MS),
)
# The carboys and their probes stand in the barn, on a supply of their own.
IN_BARN: Final = frozenset({"c1-temperature", "c1-pressure", "c2-temperature"})
BY_LINE: Final = frozenset({"k1-temperature", "k2-temperature"})
WITH_TIME: Final = frozenset({"k1-pressure", "k4-pressure", "c1-pressure"})


def cellar_file() -> str:
    """The cellar file of the week: the default limits, and one on the cylinder without a delay."""
    in_cellar = {"room": CELLAR_ROOM}
    return "\n".join(
        (
            site(waking="07:00-22:00"),
            mqtt(),
            serial("/dev/serial/by-id/usb-bench", _LINE),
            mail(),
            room(CELLAR_ROOM, volume="30 m3"),
            room(BARN, volume="60 m3"),
            cylinder("N2", **in_cellar),
            *(keg(name, **in_cellar) for name in ("K1", "K2", "K3", "K4")),
            *(carboy(name, room=BARN) for name in ("C1", "C2")),
            *(_probe(instrument) for instrument in INSTRUMENTS),
            limit(
                at="N2",
                quantity="pressure",
                low="20 bar",
                deadband="0.1 bar",
                on_delay="0 s",
                off_delay="0 s",
                hours="waking",
                consequence="The cylinder is nearly empty: the next keg cannot be brought to pressure.",
                action="Order gas, and change the cylinder.",
            ),
        )
    )


class WeekCellar:
    """The cellar, moved by ``run`` from one planned act to the next.

    broker_up, barn_powered: what an act changes; loose: a probe with a loose contact -> how far its readings swing to
    either side; sent: how many readings were sent; letters: the mails that went out, in order; extremes: the lowest
    and highest number of each probe.
    """

    def __init__(self, folder: Path, seed: int = 7) -> None:
        self.second = 0.0
        self.broker_up = True
        self.barn_powered = True
        self.loose: dict[str, float] = {}
        self.extremes: dict[str, tuple[float, float]] = {}
        self.sent = 0
        self.letters: list[Letter] = []
        self.cellar = parse_cellar(cellar_file(), file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, START_MS)
        self._series = declare(self.store, declarations(self.cellar), START_MS)
        self._appender = Appender(self.store)
        self._held: deque[tuple[str, int, float]] = deque()
        self._acts: list[tuple[float, Callable[[], object]]] = []
        self._close: list[tuple[float, float]] = []
        self.physics = _physics(seed)
        self._turner: Turner | None = None
        self._gas = GasJudge()
        self._judge_due = 0.0
        self._chance = Random(seed)
        collect = Collector(self.store, self.cellar.site.name).collect
        self._outbox = Outbox(self.store, self._deliver, lambda: 0.5, collect)

    # ---- the plan ----------------------------------------------------------------------------------------------

    def plan(self, at_s: float, *acts: Callable[[], object]) -> None:
        """Do something at a time of the week."""
        self._acts += [(at_s, act) for act in acts]

    def plan_deed(self, at_s: float, *deeds: Deed) -> None:
        """Let somebody, or a seal, do something to the simulated vessels."""
        for deed in deeds:
            self.physics.schedule(_utc_ms(at_s), deed)

    def watch_closely(self, from_s: float, to_s: float) -> None:
        """Make a turn every five seconds in this time."""
        self._close.append((from_s, to_s))

    # ---- what people do ----------------------------------------------------------------------------------------

    def enter(
        self, kind: str, place: str | None = None, lot: str | None = None, *, ago_s: float = 0.0, **said: Any
    ) -> int:
        """Write an entry of the journal; give its id."""
        now_ms = _utc_ms(self.second)
        draft = Draft(kind, now_ms - round(ago_s * 1000), "Ana", parse_body(kind, said), place, lot)
        return write_entry(self.store, draft, self.cellar, now_ms).id

    def acknowledge_all(self) -> None:
        """Say of every open alarm that it has been seen."""
        for row in alarm_rows(self.store):
            if row.occurrence is not None:
                append_event(self.store, "acknowledge", row.occurrence, "Ana", "", _utc_ms(self.second))

    # ---- what became of it -------------------------------------------------------------------------------------

    def raised(self) -> list[tuple[float, str]]:
        """When each alarm was raised, and its limit's key, by the alarm record."""
        steps = transitions(self.store)
        raised = [step for step in steps if step.to_state == "unacknowledged" and step.event == "condition began"]
        return [((step.at_ms - START_MS) / 1000, step.key) for step in raised]

    def stored(self) -> int:
        """How many readings are in the store."""
        return int(self.store.connection.execute("SELECT count(*) FROM fresh").fetchone()[0])

    # ---- time --------------------------------------------------------------------------------------------------

    def run(self, to_s: float) -> None:
        """Move to a time of the week, turn by turn."""
        self._turner = self._turner or Turner(self.cellar, self.store, self._now, judges=well)
        readings = self.physics.readings(_utc_ms(to_s))
        ahead = next(readings, None)
        acts = deque(sorted(self._acts, key=lambda act: act[0]))
        while self.second < to_s:
            close = any(begin <= self.second < end for begin, end in self._close)
            self.second = min(to_s, self.second + (CLOSE_STEP_S if close else CALM_STEP_S))
            while acts and acts[0][0] <= self.second:
                acts.popleft()[1]()
            batch, ahead = self._until_now(readings, ahead)
            self._append(batch)
            self._beat()
            self._judge()
            self._turner.turn(self._now)
            self._outbox.work(_utc_ms(self.second))
        self._acts.clear()

    @property
    def _now(self) -> Now:
        return Now(_utc_ms(self.second), _MONO_AT_START + self.second, BOOT)

    def _until_now(
        self, readings: Iterator[Measured], ahead: Measured | None
    ) -> tuple[list[tuple[str, int, float]], Measured | None]:
        batch = []
        while ahead is not None and ahead.at_ms <= _utc_ms(self.second):
            if self.barn_powered or ahead.probe not in IN_BARN:
                number = ahead.number + self.loose.get(ahead.probe, 0.0) * self._chance.choice((-1, 1))
                self.sent += 1
                low, high = self.extremes.get(ahead.probe, (number, number))
                self.extremes[ahead.probe] = min(low, number), max(high, number)
                batch.append((ahead.probe, ahead.at_ms, number))
            ahead = next(readings, None)
        return batch, ahead

    def _append(self, batch: list[tuple[str, int, float]]) -> None:
        """Store what came. What a broker had kept has its own time, or is in doubt but for the newest of each probe."""
        rows: list[tuple[int, int, float, int]] = []
        if not self.broker_up:
            self._held.extend(reading for reading in batch if reading[0] not in BY_LINE)
            batch = [reading for reading in batch if reading[0] in BY_LINE]
        elif self._held:
            newest = {name: at_ms for name, at_ms, _ in self._held}
            now_ms = _utc_ms(self.second)
            for number, (name, at_ms, value) in enumerate(self._held):
                if name in WITH_TIME:
                    rows.append((self._series[name], at_ms, value, 0))
                else:
                    quality = 0 if at_ms == newest[name] else _BACKLOG
                    rows.append((self._series[name], now_ms - len(self._held) + number, value, quality))
            self._held.clear()
        rows += [(self._series[name], at_ms, value, 0) for name, at_ms, value in batch]
        if rows:
            self._appender.append(rows)

    def _judge(self) -> None:
        """Judge the gas, and keep the answer as the judge's thread does."""
        if self.second >= self._judge_due:
            self._judge_due = self.second + JUDGE_S
            answer = self._gas.judge(self.cellar, self.store, _utc_ms(self.second))
            with self.store.write() as connection:
                keep_judgements(connection, self._gas.name, answer)

    def _beat(self) -> None:
        """Write the pulse of ingest."""
        pulse = IngestPulse(
            mqtt=BrokerPulse(connected=self.broker_up, subscribed=self.broker_up), lines={_LINE: LinePulse(open=True)}
        )
        with self.store.write() as connection:
            write_pulse(connection, pulse, _utc_ms(self.second), START_MS, self._now.even)

    def _deliver(self, message: MessageRow, now_ms: int) -> Delivered:
        self.letters.append(Letter((now_ms - START_MS) / 1000, message.occasion, message.subject, message.body))
        return Delivered()


def _utc_ms(second: float) -> int:
    return START_MS + round(second * 1000)


def _physics(seed: int) -> SimulatedCellar:
    weather = Weather(seed=seed, start_ms=START_MS, mean_c=_MEAN_C, day_swing_c=_HALF_SWING_C)
    room_c, station_kpa = weather.air(START_MS)
    kegs = [
        SimulatedVessel("K1", capacity_l=19.5, wine_20c_l=19.0, wine_c=room_c),
        SimulatedVessel("K2", capacity_l=19.5, wine_20c_l=17.5, wine_c=room_c),
        SimulatedVessel("K3", capacity_l=19.5, wine_20c_l=9.5, wine_c=room_c),
    ]
    for vessel in kegs:
        vessel.fill(55.0, station_kpa, saturation=0.93)
    # Rinsed and drained: a few drops are left.
    empty = SimulatedVessel("K4", capacity_l=19.5, wine_20c_l=0.01, wine_c=room_c)
    empty.fill(0.0, station_kpa, saturation=0.0)
    carboys = [
        SimulatedVessel(
            name,
            capacity_l=23.0,
            wine_20c_l=22.8,
            wine_c=room_c,
            wall_expansion=GLASS_EXPANSION,
            surface_m_per_s=0.0,
            release_mol_per_s=4e-8,
            airlock=Airlock(),
        )
        for name in ("C1", "C2")
    ]
    for vessel in carboys:
        vessel.fill(0.2, station_kpa, saturation=0.0)
    return SimulatedCellar(
        now_ms=START_MS,
        seed=seed,
        weather=weather,
        room=CELLAR_ROOM,
        vessels=[*kegs, empty, *carboys],
        cylinders=[
            SimulatedCylinder("N2", 10.0, cylinder_moles(3_000.0, 10.0, room_c), room_c, station_kpa=station_kpa)
        ],
        instruments=INSTRUMENTS,
        step_ms=60_000,
    )
