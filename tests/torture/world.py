"""A cellar's machines in one simulated time: a broker that keeps its promises, the daemons on a real store, mail.

Nothing here waits: each part is called with the time. The broker knows what was acknowledged to it, and the world what
the pressure in each keg really was; those two are what the torture judges by.
"""

from __future__ import annotations

__all__ = ["Alerts", "Broker", "Ingest", "Keg", "Mail", "Time"]

import json
import logging
import random
import sqlite3
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from alerts.message.collecting import Collector
from alerts.message.outbox import Delivered, DeliveryFailure, Outbox
from alerts.turning.turner import Turner
from alerts.watch.own_limits import JUDGES
from alerts.watch.turn_inputs import Now
from ingest.cellar import Cellar
from ingest.probes.binding import barometers, bindings, declarations, jump_steps
from ingest.probes.decode import Decoder
from ingest.probes.steadiness import Steadiness
from ingest.pulse import PULSE_S, BrokerPulse, IngestPulse, JudgePulse
from ingest.sources.sample import Sample, Ticket
from ingest.store import Store, create_or_open
from ingest.store.alarms.messages import MessageRow
from ingest.store.pulse_rows import write_pulse
from ingest.store.readings.series import declare
from ingest.times import iso_utc
from ingest.writing.clock_guard import ClockGuard
from ingest.writing.writer import Writer

WINDOW = 20
BOOT = "torture"


@dataclass(slots=True)
class Time:
    """mono: seconds since the machine started; wrong_ms: how far its wall clock is ahead of the truth."""

    begun_ms: int
    mono: float = 1000.0
    wrong_ms: int = 0

    @property
    def true_ms(self) -> int:
        """What the time really is, UTC ms."""
        return self.begun_ms + round(self.mono * 1000)

    @property
    def wall_ms(self) -> int:
        """What the machine's clock says, UTC ms."""
        return self.true_ms + self.wrong_ms


@dataclass(frozen=True, slots=True)
class Published:
    """One message at QoS 1, as the broker has it. number: counts up over all messages."""

    number: int
    topic: str
    payload: bytes


class Broker:
    """Keeps every message for the daemon's session until it is acknowledged on the connection that brought it."""

    def __init__(self) -> None:
        self.up = True
        # It neither delivers nor takes anything, and nobody is told: its connections stay open.
        self.hangs = False
        self.generation = 0
        # With the packet id under which a message was sent before, 0 for one that was not.
        self._queue: deque[tuple[Published, int]] = deque()
        self._in_flight: dict[int, Published] = {}
        self._packet_id = 0
        self.published = 0
        self.acknowledged: list[Published] = []

    def publish(self, topic: str, payload: bytes) -> None:
        """Take a message from a probe. While the broker is down, a probe keeps it and sends it later."""
        self.published += 1
        self._queue.append((Published(self.published, topic, payload), 0))

    @property
    def unacknowledged(self) -> int:
        """Messages that the daemon has not acknowledged."""
        return len(self._queue) + len(self._in_flight)

    def connect(self) -> None:
        """Begin a connection: what was in flight comes again, marked as perhaps sent before."""
        self.generation += 1
        again = [(message, packet_id) for packet_id, message in self._in_flight.items()]
        self._queue.extendleft(reversed(again))
        self._in_flight.clear()

    def pump(self, offer: Callable[[Sample], None], time: Time) -> None:
        """Deliver what the window allows."""
        while self.up and not self.hangs and self._queue and len(self._in_flight) < WINDOW:
            message, packet_id = self._queue.popleft()
            is_repeat = packet_id > 0
            while packet_id == 0 or (not is_repeat and packet_id in self._in_flight):
                self._packet_id = self._packet_id % 65_535 + 1
                packet_id = self._packet_id
            self._in_flight[packet_id] = message
            ticket = Ticket(self.generation, packet_id, 1)
            came = (message.topic, message.payload, time.wall_ms, time.mono)
            offer(Sample("mqtt", *came, repeat=is_repeat, ticket=ticket))

    def acknowledge(self, tickets: Sequence[Ticket]) -> None:
        """Take acknowledgements; those of an earlier connection, or while the broker is down, do not arrive."""
        for ticket in tickets:
            if self.up and not self.hangs and ticket.generation == self.generation:
                message = self._in_flight.pop(ticket.packet_id, None)
                if message is not None:
                    self.acknowledged.append(message)


class Ingest:
    """The ingest daemon's parts around a real store, from its start to its kill."""

    def __init__(self, cellar: Cellar, broker: Broker, time: Time) -> None:
        self._broker = broker
        self._time = time
        self._started_ms = time.wall_ms
        self.store = create_or_open(cellar.store_path, time.wall_ms)
        self.series = declare(self.store, declarations(cellar), time.wall_ms)
        self._writer = Writer(
            self.store,
            Decoder(bindings(cellar, self.series)),
            broker.acknowledge,
            lambda: WINDOW // 2,
            steadiness=Steadiness(jump_steps(cellar, self.series)),
            barometers=barometers(cellar, self.series),
            monotonic=lambda: time.mono,
        )
        self._guard = ClockGuard(self.store, time.wall_ms, time.mono, BOOT)
        self._pulse_due = time.mono
        self._count = 0
        broker.connect()

    def turn(self) -> None:
        """Take what the broker delivers, commit, acknowledge; again while the window was full."""
        for _ in range(50):
            self._broker.pump(self._writer.offer, self._time)
            pulse = self._time.mono >= self._pulse_due
            stored = self._guard.turn(
                self._writer, self._write_pulse if pulse else None, self._time.wall_ms, self._time.mono
            )
            if pulse and stored:
                self._pulse_due = self._time.mono + PULSE_S
            if not stored or not self._broker.up or self._broker.unacknowledged == 0:
                return

    def _write_pulse(self, connection: sqlite3.Connection) -> None:
        self._count += 1
        pulse = IngestPulse(
            clock=str(self._guard.verdict),
            mqtt=BrokerPulse(connected=self._broker.up, subscribed=self._broker.up),
            **pulse_identity(self._count, self._time.mono),
        )
        write_pulse(connection, pulse, self._time.wall_ms, self._started_ms)

    def kill(self) -> None:
        """End as SIGKILL does: what was not committed is gone."""
        self.store.connection.close()


def pulse_identity(count: int, mono: float) -> dict[str, object]:
    """The fields by which a pulse is told from the one before, where the pulse has them."""
    wanted = {"counter": count, "boot": BOOT, "mono": mono, "mono_s": mono}
    return {name: value for name, value in wanted.items() if name in IngestPulse.model_fields}


class Mail:
    """A mail server: takes messages, refuses them for now or for good, or takes them and loses its answer."""

    def __init__(self) -> None:
        self.answer = "takes"
        self.delivered: list[tuple[float, MessageRow]] = []

    def deliver(self, message: MessageRow, time: Time) -> Delivered | DeliveryFailure:
        """Answer to one message."""
        if self.answer == "away":
            return DeliveryFailure(False, "nothing listens there", unreachable=True)
        if self.answer == "busy":
            return DeliveryFailure(False, "451 try again later")
        if self.answer == "refuses":
            return DeliveryFailure(True, "550 not wanted")
        self.delivered.append((time.mono, message))
        if self.answer == "loses its answer":
            return DeliveryFailure(False, "the connection broke after DATA")
        return Delivered()


def _well() -> dict[str, JudgePulse]:
    return {judge: JudgePulse(last_ms=1) for judge in JUDGES}


class Alerts:
    """The alerts daemon's parts around a real store, from its start to its kill."""

    def __init__(self, cellar: Cellar, mail: Mail, time: Time, chance: random.Random) -> None:
        self._time = time
        self.store: Store = create_or_open(cellar.store_path, time.wall_ms)
        self._turner = Turner(cellar, self.store, Now(time.wall_ms, time.mono), judges=_well)
        collect = Collector(self.store, cellar.site.name).collect
        self._outbox = Outbox(self.store, lambda message, _: mail.deliver(message, time), chance.random, collect)

    def turn(self) -> None:
        """One turn, and what is due in the outbox."""
        self._turner.turn(Now(self._time.wall_ms, self._time.mono))
        self._outbox.work(self._time.wall_ms)

    def kill(self) -> None:
        """End as SIGKILL does."""
        self.store.connection.close()


@dataclass(slots=True)
class Keg:
    """A keg and its probe. breaches: when its pressure was below the floor, as (from, to) of monotonic seconds."""

    id: str
    form: str
    psi: float = 8.0
    is_silent: bool = False
    own_ahead_ms: int = 0
    breaches: list[tuple[float, float]] = field(default_factory=list)

    def payload(self, time: Time, chance: random.Random) -> bytes:
        """What the probe sends now."""
        psi = round(self.psi + chance.gauss(0.0, 0.02), 3)
        if self.form == "plain":
            return f"{psi}".encode()
        return json.dumps({"psi": psi, "at": iso_utc(time.true_ms + self.own_ahead_ms)}).encode()


def write_cellar(folder: Path, kegs: Sequence[Keg], every_s: float) -> str:
    """Write the cellar file's text for these kegs; a limit of each fires below 1 psi after 30 s."""
    parts = [
        '[site]\nname = "Mill Lane cellar"\ntimezone = "Europe/Ljubljana"\n'
        '[store]\npath = "cellar.db"\n[mqtt]\nhost = "127.0.0.1"\n'
        '[mail]\nhost = "127.0.0.1"\nfrom = "leeside@cellar.example"\nto = ["ana@cellar.example"]\n'
    ]
    for keg in kegs:
        extra = 'payload = "json"\npointer = "/psi"\ntime_pointer = "/at"\n' if keg.form == "json" else ""
        parts.append(
            f'[[vessel]]\nid = "{keg.id}"\nkind = "keg"\ncapacity = "19.5 L"\ngas = "nitrogen"\n'
            'max_pressure = "200 kPa"\n'
            f'[[probe]]\nid = "{keg.id.lower()}-pressure"\nat = "{keg.id}"\nquantity = "pressure"\n'
            f'topic = "cellar/{keg.id}/pressure"\nunit = "psi"\nevery = "{every_s:g} s"\n{extra}'
            f'[[limit]]\nat = "{keg.id}"\nquantity = "pressure"\nlow = "7 kPa"\ndeadband = "1 kPa"\non_delay = "30 s"\n'
            'priority = "high"\nhours = "any"\nconsequence = "Air can reach the wine."\naction = "Look at the lid."\n'
        )
    text = "".join(parts)
    (folder / "cellar.toml").write_text(text, encoding="utf-8")
    logging.getLogger().setLevel(logging.CRITICAL)
    return text
