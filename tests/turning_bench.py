"""A store and a turner over it, with a clock that a test moves."""

from __future__ import annotations

from pathlib import Path

from cellar_text import KEG, MQTT, limit, mail, probe, site

from alerts.turning.turner import Turner
from alerts.watch.own_limits import JUDGES
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar, parse_cellar
from ingest.probes.binding import declarations
from ingest.pulse import BrokerPulse, IngestPulse, JudgePulse
from ingest.store import Store, create_or_open
from ingest.store.alarms.messages import due_messages, mark_sent, recent_messages
from ingest.store.change_feed import FED, set_cursor
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.readings.settling import Settler

EPOCH_MS = 1_790_000_000_000

WATCHED = site(waking="07:00-22:00") + MQTT + KEG + probe(topic="cellar/K1/pressure", unit="psi")
LOW = limit(
    at="K1", quantity="pressure", low="5 kPa", deadband="1 kPa", on_delay="10 s", off_delay="0 s", priority="high"
)
MAIL = mail(to=["ana@cellar.example", "ben@cellar.example"])
CELLAR = WATCHED + LOW + MAIL


def well() -> dict[str, JudgePulse]:
    """Judges that have answered."""
    return {judge: JudgePulse(last_ms=EPOCH_MS) for judge in JUDGES}


class Bench:
    """A store, its appender, and a turner that can be made again, as a restart does."""

    def __init__(self, folder: Path, text: str = CELLAR) -> None:
        self.path = folder / "cellar.db"
        self.cellar: Cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store: Store = create_or_open(self.path, EPOCH_MS)
        self.series = declare(self.store, declarations(self.cellar), EPOCH_MS)
        self.appender = Appender(self.store)
        self.second = 0.0
        self.clock_is_off_s = 0.0
        self.boot = "boot-1"
        # Why each channel of kind mqtt shows nothing.
        self.lamps: dict[str, str] = {}
        self.turner = self._turner()

    def _turner(self) -> Turner:
        return Turner(self.cellar, self.store, self.now, judges=well, lamps=lambda: self.lamps)

    @property
    def now(self) -> Now:
        wall_s = self.second + self.clock_is_off_s
        return Now(EPOCH_MS + round(wall_s * 1000), 1000.0 + self.second, self.boot)

    def restart(self, text: str | None = None) -> None:
        if text is not None:
            self.cellar = parse_cellar(text, file="cellar.toml", base=self.path.parent)
            self.series = declare(self.store, declarations(self.cellar), self.now.utc_ms)
        self.turner = self._turner()

    def reading(self, psi: float, quality: int = 0, ago_s: float = 0.0) -> None:
        self.appender.append([(self.series["k1-pressure"], self.now.utc_ms - round(ago_s * 1000), psi, quality)])

    def settle(self, older_than_s: float) -> None:
        """Pack what is old, as upkeep does it."""
        with self.store.write() as connection:
            set_cursor(connection, FED, self.appender.newest_id)
        settler = Settler(self.store)
        settler.begin(self.now.utc_ms - round(older_than_s * 1000))
        while settler.slice():
            pass

    def ingest_lives(self, connected: bool = True) -> None:
        with self.store.write() as connection:
            pulse = IngestPulse(mqtt=BrokerPulse(connected=connected))
            write_pulse(connection, pulse, self.now.utc_ms, EPOCH_MS, self.now.even)

    def turn(self, after_s: float = 1.0) -> int:
        self.second += after_s
        return self.turner.turn(self.now)

    def send(self) -> None:
        """What waits goes out, as the outbox would do it."""
        for row in due_messages(self.store, self.now.utc_ms):
            mark_sent(self.store, row.id, self.now.utc_ms)

    def subjects(self) -> list[str]:
        return [f"{row.recipient.split('@')[0]}: {row.subject}" for row in reversed(recent_messages(self.store, 100))]
