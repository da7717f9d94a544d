"""A flood of alarms: one summary, nothing unmentioned, nothing of high priority late, and an end."""

from __future__ import annotations

import sqlite3
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from cellar_text import MQTT, mail, probe, site, table
from hypothesis import given, settings
from hypothesis import strategies as st
from watch_limits import a_limit

from alerts.message.collecting import Collector
from alerts.message.flood import MOST_ALARMS, SUMMARY_EVERY_MS, WINDOW_MS
from alerts.message.flood_end import FloodEnd
from alerts.message.notices import Notifier
from alerts.turning.message_background import StoredBackground
from alerts.watch.alarm import Transition
from alerts.watch.alarm_table import AlarmEvent, Occasion, State
from alerts.watch.condition import Condition
from ingest.cellar import Cellar, parse_cellar
from ingest.store import Store, create_or_open
from ingest.store.alarms.alarm_record import TransitionRow, add_transition
from ingest.store.alarms.messages import MessageRow, due_messages, mark_sent

START_MS = 1_790_000_000_000
MINUTE_MS = 60_000
MOST_KEGS = 60


class Flooded:
    """Sixty kegs with a limit each, the first ten of them of high priority; what goes out is kept by minute."""

    def __init__(self, folder: Path) -> None:
        kegs = "".join(
            table("[[vessel]]", id=f"K{n}", kind="keg", capacity="19.5 L")
            + probe(id=f"p{n}", at=f"K{n}", topic=f"k/{n}")
            for n in range(MOST_KEGS)
        )
        self.cellar: Cellar = parse_cellar(
            site(name="Mill Lane") + MQTT + kegs + mail(), file="cellar.toml", base=folder
        )
        self.limits = {
            f"K{n}/low": a_limit(
                key=f"K{n}/low", at=f"K{n}", probe=f"p{n}", priority="high" if n < 10 else "medium", hours="any"
            )
            for n in range(MOST_KEGS)
        }
        self.store: Store = create_or_open(folder / "cellar.db", START_MS)
        self.now_ms = START_MS
        self.open: dict[int, str] = {}
        self.numbers = 0
        self.sent: list[MessageRow] = []
        self.start()

    def start(self) -> None:
        """What a restart makes again."""
        self.notifier = Notifier(self.cellar, self.limits, StoredBackground(self.cellar, self.store, {}))
        self.collector = Collector(self.store, "Mill Lane")
        self.end = FloodEnd(self.cellar, self.store)

    def turn(self, raise_: tuple[int, ...] = (), return_: tuple[int, ...] = ()) -> None:
        """Raise and return alarms of kegs in one turn, end a flood that is over, and send what is due."""
        steps = [*(self._raised(n) for n in raise_ if n not in self.open)]
        steps += [self._returned(n) for n in return_ if n in self.open]
        over = self.end.over_for(self.now_ms)
        with self._write() as connection:
            rows = {add_transition(connection, _row(step)): step for step in steps}
            messages = self.notifier.notify(connection, rows, self.now_ms)
            messages += self.end.report(connection, over, [f"K{n}" for n in sorted(self.open)], self.now_ms)
        self.end.look(messages)
        self.collector.collect(self.now_ms)
        for row in due_messages(self.store, self.now_ms, 1000):
            self.sent.append(row)
            mark_sent(self.store, row.id, self.now_ms)

    def pass_minutes(self, minutes: float) -> None:
        for _ in range(round(minutes)):
            self.now_ms += MINUTE_MS
            self.turn()

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with self.store.write() as connection:
            yield connection

    def _raised(self, number: int) -> Transition:
        self.numbers += 1
        self.open[number] = f"a{self.numbers}"
        return self._step(number, Occasion.RAISED, State.NORMAL, State.UNACKNOWLEDGED, 3.0)

    def _returned(self, number: int) -> Transition:
        step = self._step(number, Occasion.RETURNED, State.UNACKNOWLEDGED, State.RETURNED, 40.0)
        del self.open[number]
        return step

    def _step(self, number: int, occasion: Occasion, before: State, after: State, value: float) -> Transition:
        key = f"K{number}/low"
        active = occasion is Occasion.RAISED
        return Transition(
            key=key,
            occurrence=self.open[number],
            at_ms=self.now_ms,
            from_state=before,
            to_state=after,
            event=AlarmEvent.BEGAN if active else AlarmEvent.ENDED,
            occasion=occasion,
            value=value,
            raised_value=3.0,
            since_ms=self.now_ms,
            condition=Condition(key, active, self.now_ms, value),
        )

    def subjects(self) -> list[str]:
        return [row.subject for row in self.sent]


def _row(step: Transition) -> TransitionRow:
    return TransitionRow(
        step.at_ms, step.key, step.occurrence, str(step.event), str(step.from_state), str(step.to_state), step.value,
        "", "",
    )  # fmt: skip


def test_ten_go_out_as_always_and_the_eleventh_begins_a_flood(tmp_path: Path) -> None:
    flooded = Flooded(tmp_path)
    for number in range(10, 20):
        flooded.turn((number,))
        flooded.now_ms += 20_000
    assert all(subject.startswith("MEDIUM PRIORITY: K") for subject in flooded.subjects())
    assert len(flooded.sent) == MOST_ALARMS
    flooded.turn((20,))
    assert flooded.subjects()[-1] == "FLOOD OF 11 ALARMS at Mill Lane: K20 pressure 3.0 kPa, below 5 kPa"
    body = flooded.sent[-1].body
    assert body.startswith("11 alarms in ten minutes at Mill Lane: more than anybody can follow. 10 of them came by")
    assert "leeside alarms cellar.toml" in body
    for number in range(21, 50):
        flooded.turn((number,))
        flooded.now_ms += 5_000
    assert len(flooded.sent) == MOST_ALARMS + 1, "the others come together"


def test_a_restart_does_not_forget_the_flood(tmp_path: Path) -> None:
    flooded = Flooded(tmp_path)
    flooded.turn(tuple(range(10, 25)))
    flooded.start()
    flooded.turn((30,))
    assert len(flooded.sent) == 1
    flooded.start()
    flooded.pass_minutes(11)
    assert flooded.subjects()[-1] == "FLOOD OVER at Mill Lane: 16 alarms still stand"
    assert "MEDIUM PRIORITY: K30 pressure 3.0 kPa, below 5 kPa" in flooded.sent[-1].body


def test_an_alarm_of_high_priority_goes_out_at_once_and_by_itself_in_a_flood_too(tmp_path: Path) -> None:
    flooded = Flooded(tmp_path)
    flooded.turn((*range(15, 40), 3))
    (first,) = flooded.sent
    assert first.subject.startswith("FLOOD OF 26 ALARMS, 1 of HIGH PRIORITY, at Mill Lane: K3 pressure 3.0")
    assert "---- HIGH PRIORITY: K3 pressure" in first.body
    flooded.now_ms += 30_000
    flooded.turn((41, 5))
    assert flooded.subjects()[1:] == ["HIGH PRIORITY: K5 pressure 3.0 kPa, below 5 kPa"]


def test_an_hour_of_flood_is_a_few_messages(tmp_path: Path) -> None:
    flooded = Flooded(tmp_path)
    for minute in range(60):
        number = 10 + minute % 50
        flooded.turn((number, 10 + (minute + 25) % 50), (10 + (minute + 10) % 50,))
        flooded.now_ms += MINUTE_MS
    leads = Counter(subject.split(" at ")[0].split(",")[0].split(":")[0] for subject in flooded.subjects())
    assert leads["FLOOD OF 12 ALARMS"] == 1
    assert leads["FLOOD GOES ON"] == 60 * MINUTE_MS // SUMMARY_EVERY_MS - 1
    assert len(flooded.sent) <= MOST_ALARMS + 5 + leads["FLOOD GOES ON"], "ten alarms and their all-clears at first"
    flooded.pass_minutes(WINDOW_MS / MINUTE_MS + 1)
    assert flooded.subjects()[-1].startswith("FLOOD OVER at Mill Lane: ")
    flooded.pass_minutes(60)
    assert flooded.subjects()[-1].startswith("FLOOD OVER at Mill Lane: "), "once"
    # The next one begins like the first.
    flooded.turn(return_=tuple(range(MOST_KEGS)))
    flooded.now_ms += MINUTE_MS
    flooded.turn((11,))
    assert flooded.subjects()[-1] == "MEDIUM PRIORITY: K11 pressure 3.0 kPa, below 5 kPa"


_KEGS = st.lists(st.integers(0, MOST_KEGS - 1), max_size=14, unique=True).map(tuple)
_TURNS = st.lists(
    st.tuples(st.integers(1, 400), _KEGS, st.lists(st.integers(0, MOST_KEGS - 1), max_size=8, unique=True).map(tuple)),
    min_size=1,
    max_size=25,
)


@settings(max_examples=60, deadline=None)
@given(turns=_TURNS, restarts=st.sets(st.integers(0, 24)))
def test_no_alarm_is_unmentioned_and_none_is_reported_twice_as_raised(
    turns: list[tuple[int, tuple[int, ...], tuple[int, ...]]], restarts: set[int]
) -> None:
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
        flooded = Flooded(Path(folder))
        for place, (after_s, raised, returned) in enumerate(turns):
            flooded.now_ms += after_s * 1000
            if place in restarts:
                flooded.start()
            before = dict(flooded.open)
            flooded.turn(raised, returned)
            urgent = {name for n, name in flooded.open.items() if n < 10 and n not in before}
            assert urgent <= {name for row in flooded.sent if row.priority for name in (row.occurrence or "").split()}
        flooded.pass_minutes(40)
        mentioned = Counter(
            line.strip()
            for row in flooded.sent
            for line in [row.subject, *row.body.splitlines()]
            if line.strip().startswith("Acknowledge:")
        )
        raised_in = Counter(name for row in flooded.sent if row.priority for name in (row.occurrence or "").split())
        named = {name for row in flooded.sent for name in (row.occurrence or "").split()}
        assert named == {f"a{number + 1}" for number in range(flooded.numbers)}
        assert not mentioned or max(mentioned.values()) == 1
        assert raised_in.keys() <= named
        assert not due_messages(flooded.store, flooded.now_ms + 10 * SUMMARY_EVERY_MS, 1000)
        flooded.store.close()
