"""Everything that can fail, fails: a simulated week of kegs, with faults at random and over each other.

    .venv/bin/python tests/torture/week.py --seed 1 --days 7 --faults 500

The daemons' parts run on a real store, in one simulated time; see world.py. It prints how often each fault was injected
and what all of them led to: messages that were acknowledged and are not in the store (lost), readings that are there
twice, alarms that came late or not at all, alarms without a cause. Any of them makes the exit code 1. The same seed is
the same week. A day takes about ten seconds.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from world import Alerts, Broker, Ingest, Keg, Mail, Time, write_cellar

from ingest.cellar import parse_cellar
from ingest.errors import IngestError
from ingest.store import open_existing
from ingest.store.readings.series import all_series
from ingest.times import iso_utc, parse_rfc3339

BEGUN_MS: Final = 1_764_547_200_000  # 2025-12-01T00:00:00Z
TICK_S: Final = 2.5
EVERY_S: Final = 10.0
ON_DELAY_S: Final = 30.0
# From the end of a fault until readings flow, and bare numbers that a broker kept are told from new ones (30 s).
RECOVERY_S: Final = 75.0
# The longest wait between two tries of a mail, with its jitter.
LONGEST_TRY_S: Final = 900 * 1.2
PROMISE_S: Final = ON_DELAY_S + 2 * EVERY_S + 10.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of fault. impairs: what cannot work meanwhile: ``in`` (readings), ``judge``, ``mail``, ``clock``."""

    name: str
    shortest_s: float
    longest_s: float
    impairs: frozenset[str]
    begin: Callable[[Week, Fault], None]
    end: Callable[[Week, Fault], None] = lambda week, fault: None
    ticks: Callable[[Week, Fault], None] = lambda week, fault: None


@dataclass(slots=True)
class Fault:
    """One fault of the week, from begin to end in monotonic seconds."""

    kind: Kind
    begin: float
    end: float
    keg: Keg | None = None


@dataclass(slots=True)
class Outcome:
    """What the week led to."""

    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    late: list[str] = field(default_factory=list)
    false: list[str] = field(default_factory=list)
    told: int = 0
    due: int = 0
    messages: int = 0

    @property
    def is_clean(self) -> bool:
        """Whether nothing went wrong."""
        return not (self.lost or self.doubled or self.late or self.false)


class Week:
    """The week: what is done to the cellar, and the world that it is done to."""

    def __init__(self, folder: Path, seed: int, seconds: float, faults: int) -> None:
        self.chance = random.Random(seed)
        self.time = Time(BEGUN_MS)
        self.first_s = self.time.mono
        self.last_s = self.time.mono + seconds
        self.kegs = [Keg(f"K{number}", "json" if number % 2 else "plain") for number in range(1, 7)]
        self.cellar = parse_cellar(write_cellar(folder, self.kegs, EVERY_S), file="cellar.toml", base=folder)
        self.broker = Broker()
        self.mail = Mail()
        self.ingest: Ingest | None = None
        self.alerts: Alerts | None = None
        self.may_run = {"ingest": self.first_s, "alerts": self.first_s}
        self.pragmas: Counter[str] = Counter()
        # (topic, payload) of what must be stored once, by the keg; and what may be but need not.
        self.wanted: dict[str, list[bytes]] = {keg.id: [] for keg in self.kegs}
        self.raises: list[tuple[float, str]] = []
        self._seen_transition = 0
        self.faults = sorted(self._planned(faults), key=lambda fault: fault.begin)
        self._plan_breaches()

    # ---- the plan ----------------------------------------------------------------------------------------------

    def _planned(self, count: int) -> Iterator[Fault]:
        for number in range(count):
            kind = KINDS[number % len(KINDS)]
            begin = self.chance.uniform(self.first_s + 120, self.last_s - 3600)
            yield Fault(
                kind, begin, begin + self.chance.uniform(kind.shortest_s, kind.longest_s), self.chance.choice(self.kegs)
            )

    def _plan_breaches(self) -> None:
        """Low pressure now and then in each keg: long enough to be told, or too short."""
        for keg in self.kegs:
            at = self.first_s + self.chance.uniform(300, 3000)
            while at < self.last_s - 4000:
                lasts = self.chance.choice((12.0, 120.0, 300.0, 900.0))
                keg.breaches.append((at, at + lasts))
                at += lasts + self.chance.uniform(3600, 3 * 3600)

    # ---- the world goes on -------------------------------------------------------------------------------------

    def run(self) -> Outcome:
        """Play the week, let everything recover, and judge."""
        begun, active, next_publish = 0, list[Fault](), {keg.id: self.first_s for keg in self.kegs}
        while self.time.mono < self.last_s:
            while begun < len(self.faults) and self.faults[begun].begin <= self.time.mono:
                fault = self.faults[begun]
                begun += 1
                fault.kind.begin(self, fault)
                active.append(fault)
            for fault in [fault for fault in active if fault.end <= self.time.mono]:
                active.remove(fault)
                fault.kind.end(self, fault)
            for fault in active:
                fault.kind.ticks(self, fault)
            for keg in self.kegs:
                below = any(begin <= self.time.mono < end for begin, end in keg.breaches)
                keg.psi = 0.4 if below else 8.0
                if self.time.mono >= next_publish[keg.id]:
                    next_publish[keg.id] += EVERY_S
                    if not keg.is_silent:
                        self.publish(keg, keg.payload(self.time, self.chance))
            self._turn()
            self.time.mono += TICK_S
        for fault in active:
            fault.kind.end(self, fault)
        self.last_s = self.time.mono
        for _ in range(round(3600 / TICK_S)):
            self._turn()
            self.time.mono += TICK_S
        return self._judged()

    def publish(self, keg: Keg, payload: bytes, *, is_wanted: bool = True) -> None:
        """Send a message of a keg's probe."""
        self.broker.publish(f"cellar/{keg.id}/pressure", payload)
        if is_wanted:
            self.wanted[keg.id].append(payload)

    def _turn(self) -> None:
        for role in ("ingest", "alerts"):
            try:
                self._turn_of(role)
            except (IngestError, sqlite3.Error):
                # A store that cannot be opened: the supervisor tries again.
                if getattr(self, role) is None:
                    self.may_run[role] = self.time.mono + 10.0

    def _turn_of(self, role: str) -> None:
        daemon: Ingest | Alerts | None = getattr(self, role)
        if daemon is None:
            # With the store away, a start would make an empty one.
            if self.time.mono < self.may_run[role] or self.pragmas["moved"] > 0:
                return
            daemon = (
                Ingest(self.cellar, self.broker, self.time)
                if role == "ingest"
                else Alerts(self.cellar, self.mail, self.time, self.chance)
            )
            setattr(self, role, daemon)
            self.apply_pragmas()
        daemon.turn()
        if isinstance(daemon, Alerts):
            rows = daemon.store.connection.execute(
                "SELECT id, key FROM transition WHERE id > ? AND to_state = 'unacknowledged'", (self._seen_transition,)
            ).fetchall()
            for number, key in rows:
                self._seen_transition = number
                self.raises.append((self.time.mono, key))

    def kill(self, role: str, back_after_s: float) -> None:
        """End a daemon as SIGKILL does, and start it again later."""
        daemon: Ingest | Alerts | None = getattr(self, role)
        if daemon is not None:
            daemon.kill()
            setattr(self, role, None)
        self.may_run[role] = max(self.may_run[role], self.time.mono + back_after_s)

    def apply_pragmas(self) -> None:
        """Make the store's disk as the faults have it: read-only, full, or well."""
        for daemon in (self.ingest, self.alerts):
            if daemon is None:
                continue
            connection = daemon.store.connection
            connection.execute(f"PRAGMA query_only={'ON' if self.pragmas['read-only'] > 0 else 'OFF'}")
            pages = connection.execute("PRAGMA page_count").fetchone()[0] if self.pragmas["full"] > 0 else 1 << 30
            connection.execute(f"PRAGMA max_page_count={pages}")

    # ---- the judgement -----------------------------------------------------------------------------------------

    def _impaired(self, what: frozenset[str], padding_s: float) -> list[tuple[float, float]]:
        return [(fault.begin, fault.end + padding_s) for fault in self.faults if fault.kind.impairs & what]

    def _judged(self) -> Outcome:
        outcome = Outcome(messages=self.broker.published)
        if self.broker.unacknowledged:
            outcome.lost.append(f"{self.broker.unacknowledged} messages were never acknowledged")
        self._judge_store(outcome)
        self._judge_alarms(outcome)
        return outcome

    def _judge_store(self, outcome: Outcome) -> None:
        with open_existing(self.cellar.store_path) as store:
            for series in all_series(store):
                keg = next(keg for keg in self.kegs if keg.id == series.place)
                # Nothing is settled here, so every reading is in this table.
                rows = store.connection.execute("SELECT at, number FROM fresh WHERE series = ?", (series.id,))
                if keg.form == "json":
                    stored = Counter((at_ms, number) for at_ms, number in rows)
                    wanted = Counter(_own(payload) for payload in set(self.wanted[keg.id]))
                else:
                    stored = Counter((0, number) for _, number in rows)
                    wanted = Counter((0, float(payload)) for payload in self.wanted[keg.id])
                missing = wanted - stored
                outcome.lost += [f"{keg.id}: {key}" for key in missing]
                twice = {key: count for key, count in stored.items() if key in wanted and count > wanted[key]}
                outcome.doubled += [f"{keg.id}: {key} stored {count} times" for key, count in twice.items()]

    def _judge_alarms(self, outcome: Outcome) -> None:
        blind = self._impaired(frozenset({"in", "judge", "clock"}), RECOVERY_S)
        no_mail = self._impaired(frozenset({"mail"}), LONGEST_TRY_S)
        for keg in self.kegs:
            key = f"{keg.id}/pressure/low"
            silent = [(f.begin, f.end + RECOVERY_S) for f in self.faults if f.keg is keg and "probe" in f.kind.impairs]
            told = [mono for mono, message in self.mail.delivered if _tells_of(message.subject + message.body, keg.id)]
            for begin, end in keg.breaches:
                clear = _first_clear(begin, end, blind + silent, PROMISE_S)
                if clear is None:
                    continue
                outcome.due += 1
                due = _after(clear + PROMISE_S, no_mail) + TICK_S
                if any(begin <= mono <= due for mono in told):
                    outcome.told += 1
                else:
                    later = min((mono for mono in told if mono > due), default=None)
                    when = "never" if later is None else f"{later - due:.0f} s late"
                    outcome.late.append(f"{keg.id} breach at {begin - self.first_s:.0f} s: told {when}")
            for mono, raised in self.raises:
                if raised == key and not any(begin <= mono and end >= mono - 2 * 3600 for begin, end in keg.breaches):
                    outcome.false.append(f"{raised} raised at {mono - self.first_s:.0f} s")
        for mono, raised in self.raises:
            if raised.endswith("/over"):
                outcome.false.append(f"{raised} raised at {mono - self.first_s:.0f} s")


def _own(payload: bytes) -> tuple[int, float]:
    document = json.loads(payload)
    return parse_rfc3339(document["at"]), document["psi"]


def _tells_of(text: str, keg: str) -> bool:
    return f"{keg} pressure" in text or f"{keg}: pressure" in text


def _first_clear(begin: float, end: float, impaired: list[tuple[float, float]], lasts_s: float) -> float | None:
    """The first moment within [begin, end] from which nothing is impaired for so long."""
    at = begin
    for since, until in sorted(impaired):
        if since >= at + lasts_s:
            break
        at = max(at, until)
    return at if at + lasts_s <= end else None


def _after(at: float, impaired: list[tuple[float, float]]) -> float:
    """The first moment from ``at`` on that is not impaired."""
    for since, until in sorted(impaired):
        if since <= at < until:
            at = until
    return at


# ---- the faults ----------------------------------------------------------------------------------------------------


def _broker_down(week: Week, fault: Fault) -> None:
    week.broker.up = False


def _broker_up(week: Week, fault: Fault) -> None:
    if not any(
        other is not fault and other.kind.name == fault.kind.name and _lasts(week, other) for other in week.faults
    ):
        week.broker.up = True
        week.broker.connect()


def _lasts(week: Week, fault: Fault) -> bool:
    return fault.begin <= week.time.mono < fault.end


def _flap(week: Week, fault: Fault) -> None:
    if week.broker.up and round((week.time.mono - fault.begin) / TICK_S) % 8 == 0:
        week.broker.connect()


def _kill(role: str) -> Callable[[Week, Fault], None]:
    return lambda week, fault: week.kill(role, fault.end - fault.begin)


def _move(week: Week, fault: Fault) -> None:
    """The store's files are gone, as after a slip with `mv`; what is open goes on existing without a name."""
    week.pragmas["moved"] += 1
    if week.pragmas["moved"] == 1:
        for suffix in ("", "-wal", "-shm"):
            file = week.cellar.store_path.with_name(week.cellar.store_path.name + suffix)
            if file.exists():
                file.rename(file.with_name("aside-" + file.name))


def _move_back(week: Week, fault: Fault) -> None:
    week.pragmas["moved"] -= 1
    if week.pragmas["moved"] == 0:
        for file in week.cellar.store_path.parent.glob("aside-*"):
            file.rename(file.with_name(file.name.removeprefix("aside-")))


def _hang(week: Week, fault: Fault) -> None:
    week.broker.hangs = True


def _go_on(week: Week, fault: Fault) -> None:
    if not any(_lasts(week, other) for other in week.faults if other is not fault and other.kind is fault.kind):
        week.broker.hangs = False
        week.broker.connect()


def _pragma(name: str, step: int) -> Callable[[Week, Fault], None]:
    def change(week: Week, fault: Fault) -> None:
        week.pragmas[name] += step
        week.apply_pragmas()

    return change


def _mail(answer: str) -> Callable[[Week, Fault], None]:
    def change(week: Week, fault: Fault) -> None:
        week.mail.answer = answer

    return change


def _clock(wrong_ms: int) -> Callable[[Week, Fault], None]:
    def change(week: Week, fault: Fault) -> None:
        week.time.wrong_ms = wrong_ms

    return change


def _silence(week: Week, fault: Fault) -> None:
    assert fault.keg is not None
    fault.keg.is_silent = True


def _speech(week: Week, fault: Fault) -> None:
    assert fault.keg is not None
    fault.keg.is_silent = False


def _garbage(week: Week, fault: Fault) -> None:
    assert fault.keg is not None
    for payload in (b"\x00\xff", b"nan", b'{"psi": 1e999, "at": "2025-12-01T00:00:00Z"}', b"[" * 2000, b"", b"8,1"):
        week.publish(fault.keg, payload, is_wanted=False)


def _twice(week: Week, fault: Fault) -> None:
    keg = next(keg for keg in week.kegs if keg.form == "json")
    # Not of the very moment of the probe's own message: of two readings of one time the first counts.
    document = {"psi": keg.psi, "at": iso_utc(week.time.true_ms + 1)}
    payload = json.dumps(document).encode()
    week.publish(keg, payload)
    week.publish(keg, payload, is_wanted=False)


def _late(week: Week, fault: Fault) -> None:
    """What a probe had kept for half an hour, low as it was: stored, and no reason for an alarm now."""
    keg = next(keg for keg in week.kegs if keg.form == "json")
    document = {"psi": 0.1, "at": iso_utc(week.time.true_ms - 1_800_000 + week.chance.randrange(1000))}
    week.publish(keg, json.dumps(document).encode())


def _extreme(week: Week, fault: Fault) -> None:
    assert fault.keg is not None
    week.publish(fault.keg, b"1e308", is_wanted=False)
    week.publish(fault.keg, b"-1e308", is_wanted=False)


def _own_clock(ahead_ms: int) -> Callable[[Week, Fault], None]:
    def change(week: Week, fault: Fault) -> None:
        keg = next(keg for keg in week.kegs if keg.form == "json")
        keg.own_ahead_ms = ahead_ms

    return change


def _babble(week: Week, fault: Fault) -> None:
    """A probe that has lost its pause: another probe's readings must not wait behind it."""
    keg = next(keg for keg in week.kegs if keg.form == "plain")
    for _ in range(100):
        week.publish(keg, f"{8.5 + week.chance.random():.6f}".encode(), is_wanted=False)


def _of(*parts: str) -> frozenset[str]:
    return frozenset(parts)


KINDS: Final = (
    Kind("broker down", 10, 1800, _of("in"), _broker_down, _broker_up),
    Kind("connection flaps every 20 s", 60, 300, _of("in"), lambda week, fault: None, ticks=_flap),
    Kind("ingest killed", 1, 60, _of("in"), _kill("ingest")),
    Kind("ingest dead for long", 300, 1200, _of("in"), _kill("ingest")),
    Kind("alerts killed", 1, 60, _of("judge"), _kill("alerts")),
    Kind("alerts dead for long", 300, 1200, _of("judge"), _kill("alerts")),
    Kind("store read-only", 5, 600, _of("in", "judge"), _pragma("read-only", 1), _pragma("read-only", -1)),
    Kind("disk full", 5, 600, _of("in", "judge"), _pragma("full", 1), _pragma("full", -1)),
    Kind("store moved away", 10, 600, _of("in", "judge"), _move, _move_back),
    Kind("broker hangs with its connections open", 10, 900, _of("in"), _hang, _go_on),
    Kind("mail server away", 10, 1800, _of("mail"), _mail("away"), _mail("takes")),
    Kind("mail server busy (451)", 10, 1800, _of("mail"), _mail("busy"), _mail("takes")),
    Kind("mail answer lost after DATA", 10, 300, _of("mail"), _mail("loses its answer"), _mail("takes")),
    Kind("clock an hour back", 30, 900, _of("clock"), _clock(-3_600_000), _clock(0)),
    Kind("clock a day ahead", 20, 20, _of("clock"), _clock(86_400_000), _clock(0)),
    Kind("probe silent", 60, 900, _of("probe"), _silence, _speech),
    Kind("a probe's clock minutes ahead", 60, 900, _of(), _own_clock(300_003), _own_clock(0)),
    Kind("a probe babbles", 10, 60, _of("probe"), lambda week, fault: None, ticks=_babble),
    Kind("payloads that nobody can read", 1, 1, _of(), _garbage),
    Kind("a message twice", 1, 1, _of(), _twice),
    Kind("a reading half an hour late", 1, 1, _of(), _late),
    Kind("numbers beyond all sense", 1, 1, _of("probe"), _extreme),
)


def _memory_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main() -> int:
    """Play a week by the options, print what came of it, and give the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--faults", type=int, default=500)
    options = parser.parse_args()
    before = _memory_mb()
    with tempfile.TemporaryDirectory() as folder:
        week = Week(Path(folder), options.seed, options.days * 86_400, options.faults)
        outcome = week.run()
    injected = Counter(fault.kind.name for fault in week.faults)
    print(f"{'fault':<40}{'injected':>9}")
    for kind in KINDS:
        print(f"{kind.name:<40}{injected[kind.name]:>9}")
    print(f"\nseed {options.seed}, {options.days:g} days, {len(week.faults)} faults, {outcome.messages:,} messages")
    print(f"messages lost {len(outcome.lost)}, readings twice {len(outcome.doubled)}")
    print(
        f"alarms due {outcome.due}, told in time {outcome.told}, late {len(outcome.late)}, false {len(outcome.false)}"
    )
    print(f"memory {before:.0f} MB at the begin, {_memory_mb():.0f} MB at most")
    for line in (*outcome.lost[:10], *outcome.doubled[:10], *outcome.late[:20], *outcome.false[:20]):
        print("  " + line)
    return 0 if outcome.is_clean else 1


if __name__ == "__main__":
    sys.exit(main())
