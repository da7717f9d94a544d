"""A cellar on disk with kegs under nitrogen, and the judge of gas with a detector that writes down what it is given."""

from __future__ import annotations

__all__ = ["BEGIN_MS", "DAY", "HOUR", "MINUTE", "USUAL", "GasCellar", "Recorder"]

from collections.abc import Iterable
from pathlib import Path
from typing import Any, ClassVar

from cellar_text import MQTT, keg, probe, room, site, temperature
from journal_entries import a_body

from alerts.blanket.judge import GasJudge
from alerts.blanket.vessel_watch import Detector
from alerts.gas.blanket_facts import BlanketFacts, BlanketJudgement, BlanketPoint, EpisodeCause
from alerts.gas.blanket_watch import BlanketWatch
from ingest.cellar import parse_cellar
from ingest.journal.entry import Draft, Entry
from ingest.judgement import Judgement
from ingest.probes.binding import declarations
from ingest.store import create_or_open
from ingest.store.journal.entries import strike, write_entry
from ingest.store.judgements import keep_judgements
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import Settler

MINUTE = 60_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR
BEGIN_MS = 1_795_000_000_000 // DAY * DAY


class Recorder(BlanketWatch):
    """Keeps what it is given; its judgement says how many points there were."""

    by_vessel: ClassVar[list[Recorder]] = []

    def __init__(self, facts: BlanketFacts, *, later_ms: int = 0, silent_ms: int = 1_800_000) -> None:
        super().__init__(facts, later_ms=later_ms, silent_ms=silent_ms)
        self.facts = facts
        self.points: list[BlanketPoint] = []
        self.episodes: list[tuple[int, EpisodeCause, BlanketFacts]] = []

    def begin_episode(self, at_ms: int, cause: EpisodeCause, facts: BlanketFacts) -> None:
        assert not self.points or at_ms > self.points[-1].at_ms - 1
        self.episodes.append((at_ms, cause, facts))
        self.facts = facts

    def add(self, point: BlanketPoint) -> None:
        assert not self.points or point.at_ms > self.points[-1].at_ms
        assert not self.episodes or point.at_ms >= self.episodes[-1][0]
        self.points.append(point)

    def judge(self, at_ms: int) -> BlanketJudgement:
        if not self.points:
            return BlanketJudgement(at_ms, "no judgement")
        last = self.points[-1]
        return BlanketJudgement(at_ms, "sound", raw_kpa=last.pressure_kpa, compensated_kpa=last.pressure_kpa)


USUAL = (
    keg("K1", room="cellar"),
    probe("k1-pressure", "K1"),
    temperature("k1-temperature", "K1", mounted="wine"),
)


class GasCellar:
    """K1 under nitrogen, 18 L of wine in it since the begin, with probes of pressure and of the wine's temperature."""

    def __init__(
        self,
        folder: Path,
        *more: str,
        usual: Iterable[str] = USUAL,
        altitude: str | None = "340 m",
        filled: bool = True,
    ) -> None:
        self.folder = folder
        self.text(*usual, *more, altitude=altitude)
        self.store = create_or_open(self.cellar.store_path, BEGIN_MS)
        self.declare(BEGIN_MS)
        self.detectors: list[Recorder] = []
        self.judge = self.new_judge()
        self.appender = Appender(self.store)
        if filled:
            self.write(0, "lot", None, "ries", name="ries", style="white", alcohol_percent_vol=12.0)
            self.write(0, "first-filling", "K1", "ries", volume_l=18.0)

    def text(self, *pieces: str, altitude: str | None = "340 m") -> None:
        """Let the cellar file be another one."""
        text = "\n".join((site(altitude=altitude), MQTT, room("cellar"), *pieces))
        self.cellar = parse_cellar(text, file="cellar.toml", base=self.folder)

    def declare(self, at_ms: int) -> None:
        self.series = declare(self.store, declarations(self.cellar), at_ms)

    def new_judge(self, detector: Detector | None = None, build_s: float = 10.0) -> GasJudge:
        """Make a judge that has read nothing yet, as after a restart."""

        def recorder(facts: BlanketFacts, *, later_ms: int, silent_ms: int) -> BlanketWatch:
            self.detectors.append(Recorder(facts, later_ms=later_ms, silent_ms=silent_ms))
            return self.detectors[-1]

        return GasJudge(detector or recorder, build_s)

    def write(self, at: float, kind: str, place: str | None, lot: str | None = None, **said: Any) -> Entry:
        """Write an entry, at ms after the begin."""
        at_ms = BEGIN_MS + round(at)
        return write_entry(self.store, Draft(kind, at_ms, "Ana", a_body(kind, **said), place, lot), self.cellar, at_ms)

    def strike(self, entry: Entry, at: float) -> None:
        strike(self.store, entry.id, "Ana", "a slip", BEGIN_MS + round(at))

    def read(self, probe: str, *numbers: tuple[float, float], quality: int = 0) -> None:
        """Store readings, each ms after the begin and a number."""
        rows = [(self.series[probe], BEGIN_MS + round(at), number, quality) for at, number in numbers]
        self.appender.append(rows)

    def run(self, from_: float, to: float, every: float = MINUTE, kpa: float = 55.0, celsius: float = 15.0) -> None:
        """Store readings of K1 at steady pressure and temperature."""
        times = [from_ + step * every for step in range(round((to - from_) / every))]
        self.read("k1-pressure", *((at + 10_000, kpa) for at in times))
        self.read("k1-temperature", *((at + 11_000, celsius) for at in times))

    def settle(self, before: float) -> None:
        settler = Settler(self.store)
        settler.begin(BEGIN_MS + round(before))
        while settler.slice():
            pass

    def rows(self, at: float, judge: GasJudge | None = None) -> dict[tuple[str, str], Judgement]:
        """Judge, ms after the begin, and keep the answer as the judge's thread does."""
        answer = (judge or self.judge).judge(self.cellar, self.store, BEGIN_MS + round(at))
        with self.store.write() as connection:
            keep_judgements(connection, "gas", answer)
        return {(row.place, row.name): row for row in answer}
