"""What a broker kept while leeside was away: stored, and only the newest number counts.

Over MQTT 3.1.1 and with mosquitto's own window of 20 messages, so that it comes in many small pieces.
"""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import SITE, keg, limit, mqtt, probe, write_cellar
from eventually import eventually
from old_broker import OldBroker
from running import Leeside, leeside, leeside_process

from ingest.reading import Quality, Reason, quality_code
from ingest.store import open_existing
from ingest.store.alarms.alarm_record import transitions
from ingest.store.readings.series_history import latest

pytestmark = pytest.mark.whole


def watched(vessel: str) -> str:
    """A keg with its pressure and its limit."""
    low = limit(
        at=vessel, quantity="pressure", low="5 kPa", deadband="1 kPa", on_delay="0 s", off_delay="0 s", priority="high"
    )
    return keg(vessel) + probe(f"{vessel}-pressure", vessel, topic=f"cellar/{vessel}") + low


EACH = 1000
KEPT = 2 * EACH + 1  # one was published as a retained one, which a session that waits gets like any other
GOOD = quality_code(Quality.GOOD)
BACKLOG = quality_code(Quality.UNCERTAIN, Reason.BACKLOG)


def test_two_thousand_bare_numbers_that_were_kept(tmp_path: Path) -> None:
    """K1 lost its pressure while leeside was away and has it again; K2 has lost it and not got it back."""
    with Mosquitto(tmp_path) as broker, OldBroker(broker.port) as old:
        file = write_cellar(tmp_path, SITE, mqtt(old.port), watched("K1"), watched("K2"))
        running = Leeside(file)
        with running:
            # The session must exist before the first message: a broker keeps nothing for a name it never heard.
            eventually(lambda: "broker: connected, MQTT 3.1.1" in leeside("now", file).stdout)
        lost, back = ["0.5"] * (EACH - 1), ["55"] * (EACH - 1)
        broker.publish("cellar/K2", "54", retain=True)
        broker.publish("cellar/K1", *lost, "55")
        broker.publish("cellar/K2", *back, "0.5")
        broker.publish("cellar/K1", "cold")
        began = time.monotonic()
        with running:
            eventually(lambda: len(_qualities(running)) == KEPT, within_s=60)
            print(f"{KEPT} numbers were kept; all were on disk {time.monotonic() - began:.1f} s after the start")
            eventually(lambda: _qualities(running).count(GOOD) == 2)
            eventually(lambda: "K2 pressure" in leeside("alarms", file).stdout)
            eventually(lambda: "Not understood" in leeside("now", file).stdout)
            shown = leeside_process("now", file).stdout
    assert sorted(_qualities(running)) == [GOOD] * 2 + [BACKLOG] * (KEPT - 2)
    with open_existing(running.store_path) as store:
        newest = latest(store, (1, 2))
        raised = [(row.key, row.value) for row in transitions(store)]
    assert [(row.number, row.quality) for row in newest.values()] == [(55.0, GOOD), (0.5, GOOD)]
    # No alarm of K1, though all but its newest number would have been one.
    assert raised == [("K2/pressure/low", 0.5)]
    assert "1 x not a number: K1-pressure, mqtt cellar/K1" in shown
    assert "K2-pressure: the broker had kept '54', of unknown age; shown here, not stored" in shown


def _qualities(running: Leeside) -> list[int]:
    with open_existing(running.store_path) as store:
        return [row[0] for row in store.connection.execute("SELECT quality FROM fresh ORDER BY id")]
