"""Breach: from a number at the broker that is beyond its limit to the mail in the SMTP server's hands.

The real ``leeside run`` with default commit, a limit without delays, a real broker, and a mail server in this process.
Three at a time go up and down independently at random phases, each room once, since what comes and goes again and again
is reported once; the time is taken from before the number is published to the mail's arrival.

About 3 minutes for 60 breaches; --breaches, --seed.
"""

from __future__ import annotations

import argparse
import queue
import random
import re
import statistics
import threading
import time
from email import message_from_bytes, policy
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from aiosmtpd.controller import Controller
from brokers import Mosquitto
from cellars import cellar_text, leeside_run, running
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from rounds import percentile

from ingest.simulation.loopback import free_port

# More than three messages of one turn are put together in one mail.
AT_A_TIME = 3
GOAL_S = 4.0
LONGEST_S = 60.0
LIMIT = """
[[limit]]
at = "R{number}"
quantity = "temperature"
high = "25 °C"
priority = "high"
deadband = "1 K"
on_delay = "0 s"
off_delay = "0 s"
consequence = "The wine ages faster."
action = "Open the door at night."
"""


class Inbox:
    """Mails of each room with the moment at which they came. pictures: how many mails carried one."""

    def __init__(self, rooms: int) -> None:
        self.of_room: list[queue.Queue[float]] = [queue.Queue() for _ in range(rooms)]
        self.pictures = 0

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        """Take a mail."""
        now = time.monotonic()
        mail = message_from_bytes(envelope.content, policy=policy.default)
        self.pictures += mail.is_multipart()
        # The report of a flood has room for one alarm in its subject.
        plain = mail.get_body(("plain",)) if "FLOOD" in mail["Subject"] else None
        text = str(mail["Subject"]) if plain is None else plain.get_content()
        for number in {*re.findall(r"\bR([0-9]+)\b", text)}:
            self.of_room[int(number)].put(now)
        return "250 OK"


def breaches(client: paho.Client, inbox: Inbox, rooms: range, chance: random.Random) -> list[float]:
    """Seconds from the breach in each of the rooms to its mail."""
    took = []
    for number in rooms:
        topic = f"cellar/R{number}/air"
        client.publish(topic, "20", qos=1)
        time.sleep(chance.uniform(0.5, 3.5))
        began = time.monotonic()
        client.publish(topic, "30", qos=1)
        took.append(inbox.of_room[number].get(timeout=LONGEST_S) - began)
        time.sleep(chance.uniform(0.0, 1.0))
        # So many alarms are a flood, in which all-clears wait for the next summary.
        client.publish(topic, "20", qos=1)
    return took


def main() -> None:
    """Measure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--breaches", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    chosen = parser.parse_args()
    inbox = Inbox(chosen.breaches)
    mail_port = free_port()
    controller = Controller(inbox, hostname="127.0.0.1", port=mail_port)
    controller.start()
    mail = f"""
[mail]
host = "127.0.0.1"
port = {mail_port}
from = "leeside@cellar.example"
to = ["cellarhand@cellar.example"]
"""
    took: list[float] = []
    with TemporaryDirectory(prefix="leeside-benchmark-") as name, Mosquitto(Path(name)) as broker:
        file = Path(name) / "cellar.toml"
        more = "".join(LIMIT.format(number=number) for number in range(chosen.breaches)) + mail
        file.write_text(cellar_text(broker.port, chosen.breaches, client_id="benchmark", more=more))
        client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        with running(leeside_run(file)):
            time.sleep(5.0)

            def work(number: int) -> None:
                chance = random.Random(chosen.seed + number)
                took.extend(breaches(client, inbox, range(number, chosen.breaches, AT_A_TIME), chance))

            threads = [threading.Thread(target=work, args=(number,)) for number in range(AT_A_TIME)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
        client.disconnect()
        client.loop_stop()
    controller.stop()
    print(f"{len(took)} breaches to mail, seconds: median {statistics.median(took):.2f}", end="")
    print(f", 95 % {percentile(took, 0.95):.2f}, 99 % {percentile(took, 0.99):.2f}, max {max(took):.2f}", end="")
    print(f"  goal 99 % within {GOAL_S:g}; {inbox.pictures} mails with a picture")


if __name__ == "__main__":
    main()
