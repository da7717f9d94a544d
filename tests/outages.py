"""A cellar whose broker, lines, rooms and probes fail when a test says so, and what the watch makes of it.

Time goes in steps of five seconds. Probes send at their interval while all that carries them works; ingest reports
every fifteen seconds what is well.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from cellar_text import MQTT, SITE, cellar, keg, probe, room, serial, temperature
from watch_limits import EPOCH_MS, ids

from alerts.watch import Now, Occasion, Transition, TurnInputs, Watch, WatchReading, WatchState
from alerts.watch.own_limits import BROKER, INGEST, JUDGES, babbling_key, judge_key, line_key, room_key, watched_limits
from ingest.cellar import Cellar, Vessel

STEP_S = 5
PULSE_S = 15

TWO_ROOMS = cellar(
    SITE,
    MQTT,
    serial("/dev/serial/by-id/one", "one"),
    room("front"),
    room("back"),
    keg("K1", room="front"),
    keg("K2", room="front"),
    keg("K3", room="back"),
    keg("K4", room="back"),
    *(probe(f"p{number}", f"K{number}", topic=f"cellar/K{number}/p", every="30 s") for number in (1, 2, 3, 4)),
    temperature("t1", "K1", topic=None, serial="one", pattern="t1=(?P<value>[0-9.]+)", every="10 s"),
    temperature("t2", "K2", topic=None, serial="one", pattern="t2=(?P<value>[0-9.]+)", every="60 s"),
    temperature("t3", "K3", topic="cellar/K3/t", every="60 s"),
)


@dataclass
class Outages:
    """gone: what does not work now: keys of causes, and ids of probes that are dead."""

    cellar: Cellar = TWO_ROOMS
    gone: set[str] = field(default_factory=set)
    second: int = 0
    transitions: list[tuple[int, Transition]] = field(default_factory=list)
    heard: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.limits = watched_limits(self.cellar)
        self.watch = Watch(self.limits)
        self.state = WatchState()
        self.next_occurrence = ids()
        vessels = {vessel.id: vessel for vessel in self.cellar.places if isinstance(vessel, Vessel)}
        self.carriers = {
            each.id: {
                INGEST,
                BROKER if each.topic is not None else line_key(each.serial or ""),
                room_key(str(vessels[each.at].room)) if each.at in vessels else room_key(each.at),
                each.id,
            }
            for each in self.cellar.probe
        }

    def step(self) -> None:
        """Let five seconds pass."""
        now = Now(EPOCH_MS + self.second * 1000, 500.0 + self.second)
        readings = []
        for number, each in enumerate(self.cellar.probe):
            if (self.second + 5 * number) % round(each.every_s) == 0 and not self.gone & self.carriers[each.id]:
                readings.append(WatchReading(each.id, now.utc_ms, 55.0 if each.quantity == "pressure" else 12.0))
                self.heard[each.id] = self.second
        health = {}
        if self.second % PULSE_S == 0 and INGEST not in self.gone:
            parts = {INGEST, BROKER, "leeside/clock", "leeside/disk", "leeside/log"}
            parts |= {line_key(line.id) for line in self.cellar.serial}
            parts |= {babbling_key(each.id) for each in self.cellar.probe}
            health = dict.fromkeys(sorted(parts - self.gone), now.utc_ms)
        # Judges work in the alerts daemon, whatever happens to ingest.
        health |= {judge_key(judge): now.utc_ms for judge in JUDGES}
        result = self.watch.turn(self.state, TurnInputs(readings, health), now, self.next_occurrence)
        self.state = result.state
        self.transitions += [(self.second, step) for step in result.transitions]
        self.second += STEP_S

    def until(self, second: int, gone: Iterable[str] | None = None) -> None:
        """Let time pass up to that second, with this gone."""
        if gone is not None:
            self.gone = set(gone)
        while self.second < second:
            self.step()

    def messages(self) -> list[tuple[int, str, str]]:
        """When, of which limit, and what was announced."""
        return [
            (second, step.key.removesuffix("/no-data"), str(step.occasion))
            for second, step in self.transitions
            if step.occasion is not None
        ]

    def raised(self, key: str) -> list[Transition]:
        """The steps that raised a limit's alarm."""
        return [step for _, step in self.transitions if step.key == key and step.occasion is Occasion.RAISED]
