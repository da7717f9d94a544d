"""The example with backup and mirror: through broker, daemon and store to a real server, and into a backup and back."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from a_store import NOW
from brokers import Mosquitto
from eventually import eventually
from example_cellars import DATA, EXAMPLES, GOOD, Heard, assert_near, example, payloads
from victoria import Victoria

from alerts.command.checks.check_live import check_live
from alerts.command.checks.check_result import CheckResult
from ingest.cellar import Cellar, load_cellar
from ingest.daemon import IngestDaemon
from ingest.store import open_existing
from ingest.store.backup.archive import archives
from ingest.store.backup.making import back_up
from ingest.store.backup.restoring import restore
from ingest.store.readings.series import all_series
from ingest.store.readings.series_history import raw

NAME: Final = "backup-and-mirror"
TOPICS: Final = {
    "press-house/T3/pressure": DATA / NAME / "t3-pressure.payloads",
    "press-house/T3/temperature": DATA / NAME / "t3-temperature.payloads",
}
# 1 mbar = 0.1 kPa
PRESSURE: Final = [6.2, 6.15]
TEMPERATURE: Final = [14.2, 14.25]


class House:
    """The example in a folder of its own, its ports those of the test, its mirror looking each second."""

    def __init__(self, folder: Path, broker: Mosquitto, url: str) -> None:
        text = (EXAMPLES / f"{NAME}.toml").read_text("utf-8")
        text = text.replace('host = "127.0.0.1"\nclient_id', f'host = "127.0.0.1"\nport = {broker.port}\nclient_id')
        text = text.replace("http://127.0.0.1:8086", url).replace('every = "30 s"        #', 'every = "1 s"  #')
        text = text.replace("[store]\n", '[store]\ncommit = "0.1 s"\n')
        file = folder / "cellar.toml"
        file.write_text(text, "utf-8")
        (folder / "mirror-token").write_text("abc\n", "utf-8")
        self.cellar: Cellar = load_cellar(file)
        self.broker = broker

    def check_mirror(self) -> list[CheckResult]:
        """What `leeside check --live` finds out about the mirror."""
        return [result for result in check_live(self.cellar, {}, NOW) if result.part == "mirror"]

    def run(self, *, publish: bool, until: Callable[[], object]) -> None:
        """The ingest daemon, until something is so."""
        daemon = IngestDaemon(self.cellar, {})
        daemon.start()
        thread = threading.Thread(target=daemon.run)
        thread.start()
        try:
            if publish:
                for topic in TOPICS:
                    eventually(lambda topic=topic: f"{topic} (QoS 1)" in self.broker.log())  # type: ignore[misc]  # bound now
                for topic, data in TOPICS.items():
                    self.broker.publish(topic, *payloads(data))
            eventually(until)
        finally:
            daemon.stop_event.set()
            thread.join(10)
            daemon.stop()

    def stored(self) -> dict[tuple[str, int], float]:
        """(probe, time) -> value."""
        with open_existing(self.cellar.store_path) as store:
            return {(row.probe, it.at_ms): it.value for row in all_series(store) for it in raw(store, row.id)}


def test_what_the_tank_says() -> None:
    heard = Heard(example(NAME))
    for topic, data in TOPICS.items():
        heard.hear_topic(topic, data)
    assert_near(heard.values["t3-pressure"], [(value, GOOD) for value in PRESSURE])
    assert_near(heard.values["t3-temperature"], [(value, GOOD) for value in TEMPERATURE])
    assert heard.refused() == [("t3-pressure", "not a number")]


def test_it_is_mirrored_once_the_server_is_there_and_comes_back_from_its_backup(tmp_path: Path) -> None:
    victoria = Victoria(tmp_path / "victoria")
    with Mosquitto(tmp_path, options=["log_type all"]) as broker:
        house = House(tmp_path, broker, victoria.url)
        sent = sum(len(payloads(data)) for data in TOPICS.values())
        house.run(publish=True, until=lambda: broker.log().count("Received PUBACK") >= sent)
        stored = house.stored()
        assert sorted(stored.values()) == pytest.approx(sorted([*PRESSURE, *TEMPERATURE]), abs=5e-5)
        (mirror,) = house.check_mirror()
        assert "Does the server run" in mirror.text
        with victoria:
            assert [result.ok for result in house.check_mirror()] == [True]
            house.run(publish=False, until=lambda: len(victoria.points("reading_value")) == len(stored))
            mirrored = {
                (dict(tags)["probe"], at): value for (tags, at), value in victoria.points("reading_value").items()
            }
            sites = {dict(tags)["site"] for tags, _ in victoria.points("reading_value")}
    assert mirrored == stored
    assert sites == {"Hillside press house"}
    folder = house.cellar.backup_folder
    assert folder == tmp_path / "backups"
    back_up(house.cellar.store_path, folder, NOW, site=house.cellar.site.name, cellar_text=house.cellar.text)
    house.cellar.store_path.unlink()
    (archive,) = archives(folder, house.cellar.store_path)
    restore(archive.path, house.cellar.store_path, NOW)
    assert house.stored() == stored
