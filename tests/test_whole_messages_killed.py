"""A hundred alarms while the alerts daemon is killed at random moments: none is lost on any channel.

Doubles come only where docs/alarms.md says: at most the message that is under way on a channel when it is killed, with
the same Message-ID, or the same id.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import threading
from collections import Counter
from functools import partial
from itertools import islice
from pathlib import Path

import pytest
from cellar_text import MQTT, SITE, keg, limit, mail, probe, table, write_cellar
from eventually import eventually
from hook_server import HOOK_SECRET, Hook, Post, hook_server
from mail_server import Inbox, mail_server

from ingest.cellar import load_cellar
from ingest.probes.binding import declarations
from ingest.process import wall_ms
from ingest.simulation.loopback import free_port
from ingest.store import Store, create_or_open
from ingest.store.readings.fresh import Appender
from ingest.store.readings.series import declare

pytestmark = pytest.mark.whole

ALARMS = 100
KILLS = 5
A_KILL = ALARMS // KILLS
LOW = {"quantity": "pressure", "low": "5 kPa", "on_delay": "0 s", "priority": "high"}


def a_hundred_kegs(folder: Path, mail_port: int, hook: Hook) -> Path:
    names = [f"K{number}" for number in range(ALARMS)]
    kegs = [keg(name) + probe(f"{name}-p", name, topic=f"{name}/p", every="1 h") for name in names]
    limits = [limit(at=name, **LOW) for name in names]
    channel = table("[[channel]]", id="hook", kind="webhook", url=hook.url, secret_env="HOOK")
    ben = table("[[person]]", id="ben") + 'channels = { hook = "" }\n'
    return write_cellar(folder, SITE, MQTT, *kegs, *limits, mail(mail_port), channel, ben)


def begin(file: Path) -> subprocess.Popen[bytes]:
    with file.with_suffix(".log").open("ab") as log:
        environ = {**os.environ, "HOOK": HOOK_SECRET}
        return subprocess.Popen([sys.executable, "-m", "alerts.daemon", str(file)], stdout=log, stderr=log, env=environ)


def count(store: Store, query: str) -> int:
    return int(store.connection.execute(query).fetchone()[0])


def are_raised(store: Store, alarms: int) -> bool:
    return count(store, RAISED) >= alarms


RAISED = "SELECT count(*) FROM transition WHERE key LIKE 'K%/pressure/low' AND to_state = 'unacknowledged'"
WAITING = "SELECT count(*) FROM message WHERE state = 'waiting'"


def test_none_of_a_hundred_alarms_is_lost_when_the_daemon_is_killed_at_random_moments(tmp_path: Path) -> None:
    chance = random.Random(20261128)

    def slow(post: Post) -> None:
        pause.wait(0.1)

    # Both take their time, so that a kill often hits a message that was taken and not noted.
    inbox, mail_port, pause = Inbox(data_wait_s=0.1), free_port(), threading.Event()
    with mail_server(inbox, mail_port), hook_server(Hook(before=slow)) as hook:
        file = a_hundred_kegs(tmp_path, mail_port, hook)
        cellar = load_cellar(file)
        with create_or_open(cellar.store_path, wall_ms()) as store:
            series = declare(store, declarations(cellar), wall_ms())
            appender = Appender(store)
            kegs = iter(range(ALARMS))

            def breach(most: int) -> None:
                rows = [(series[f"K{number}-p"], wall_ms(), 1.0, 0) for number in islice(kegs, most)]
                appender.append(rows)

            daemon = begin(file)
            try:
                for kill in range(KILLS):
                    # What was breached before is raised, so a kill hits work and not a start.
                    eventually(partial(are_raised, store, kill * A_KILL))
                    for _ in range(A_KILL // 2):
                        breach(2)
                        pause.wait(chance.uniform(0.0, 0.3))
                    daemon.kill()
                    daemon.wait(10)
                    daemon = begin(file)
                eventually(lambda: count(store, RAISED) == ALARMS and not count(store, WAITING), within_s=60)
            finally:
                daemon.terminate()
                daemon.wait(20)
            sent = store.connection.execute(
                "SELECT channel, message_id, occurrence FROM message WHERE state = 'sent'"
            ).fetchall()
            raised = {row[0] for row in store.connection.execute(RAISED.replace("count(*)", "occurrence"))}
    arrived = {
        "mail": Counter(str(each["Message-ID"]) for each in inbox.mails if not each["Subject"].startswith("PICTURE")),
        "hook": Counter(post.json["id"] for post in hook.posts),
    }
    assert len(raised) == ALARMS
    for channel, ids in arrived.items():
        mine = [row for row in sent if row[0] == channel]
        assert {row[1] for row in mine} == set(ids), channel
        assert raised <= {name for row in mine for name in (row[2] or "").split()}, channel
        assert sum(ids.values()) - len(ids) <= KILLS, channel
    same = [{post.body for post in hook.posts if post.json["id"] == name} for name in arrived["hook"]]
    assert all(len(bodies) == 1 for bodies in same)
