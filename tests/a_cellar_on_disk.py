"""A cellar with its store on disk, filled as the two daemons would fill it."""

from __future__ import annotations

__all__ = ["LOW", "NOW", "CellarOnDisk"]

from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from a_store import NOW
from cellar_text import CARBOY, KEG, LIMIT, MQTT, PROBE, SITE, TEMPERATURE

from alerts.watch.alarm import AlarmState
from alerts.watch.alarm_table import State
from alerts.watch.own_limits import watched_limits
from alerts.watch.watch_state import LimitRecord
from ingest.cellar import parse_cellar
from ingest.probes.binding import declarations
from ingest.pulse import AlertsPulse, IngestPulse
from ingest.store import create_or_open
from ingest.store.alarms.alarm_record import AlarmRow, put_alarm
from ingest.store.alarms.messages import NewMessage, add_message
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare
from ingest.store.rejects import Reject, add_rejects

LOW = "K1/pressure/low"
_LIMIT = LIMIT + 'at = "K1"\nquantity = "pressure"\nlow = "5 kPa"\npriority = "high"\n'


class CellarOnDisk:
    """K1 with pressure (its number in kPa) and temperature, C1 without a probe, one limit of its own."""

    def __init__(self, folder: Path, *, site: str = SITE, more: str = "") -> None:
        text = "\n".join((site, MQTT, KEG, CARBOY, PROBE, TEMPERATURE, _LIMIT, more))
        self.cellar = parse_cellar(text, file="cellar.toml", base=folder)
        self.store = create_or_open(self.cellar.store_path, NOW)
        self.series = declare(self.store, declarations(self.cellar), NOW)

    def reading(self, probe: str, number: float, seconds_ago: float = 0.0, quality: int = 0) -> None:
        """Store a reading of a probe."""
        at = NOW - round(seconds_ago * 1000)
        assert Appender(self.store).append([(self.series[probe], at, number, quality)]).stored == 1

    def pulse(self, role: str, seconds_ago: float = 0.0, digest: str | None = None) -> None:
        """Write a daemon's pulse."""
        at = NOW - round(seconds_ago * 1000)
        digest = digest or sha256(self.cellar.text.encode()).hexdigest()
        body = IngestPulse(cellar_file_digest=digest) if role == "ingest" else AlertsPulse()
        with self.store.write() as connection:
            write_pulse(connection, body, at, at)

    def alarm(self, key: str = LOW, *, state: State = State.UNACKNOWLEDGED, **changes: object) -> None:
        """Store an alarm of a limit, by default open with the short id a2b."""
        limits = watched_limits(self.cellar)
        entry = LimitRecord.fresh(limits.get(key, limits[LOW]), 0.0)
        settings = {"occurrence": "a2b", "since_ms": NOW - 60_000, "value": 3.5, "last_value": 3.25, **changes}
        alarm = AlarmState(key, state=state, **settings)  # type: ignore[arg-type]  # a test's keywords
        row = AlarmRow(key, str(state), alarm.occurrence, replace(entry, alarm=alarm).to_json(), NOW)
        with self.store.write() as connection:
            put_alarm(connection, row)

    def reject(self, *, example: str = "abc", address: str = "k1/p", reason: str = "not a number") -> None:
        """Count a refusal."""
        with self.store.write() as connection:
            add_rejects(connection, [Reject("mqtt", address, "k1-pressure", reason, 3, NOW, NOW, example)])

    def message(self, subject: str) -> None:
        """Store a message that waits to be sent."""
        name = sha256(subject.encode()).hexdigest()[:8]
        with self.store.write() as connection:
            add_message(
                connection,
                NewMessage(f"<{name}@x>", "raised", "ana@x.example", subject, "", NOW, NOW, occurrence="a2b"),
            )
