"""`leeside listen` over a real broker, pseudo-terminals and one-wire files, alone and beside a running leeside."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from brokers import Mosquitto
from cellar_text import KEG, SITE, mqtt, probe, serial, table, write_cellar
from eventually import eventually
from listening import Cable, Listener
from running import Leeside, leeside, leeside_process

from ingest.cellar import parse_cellar
from ingest.simulation.loopback import free_port
from ingest.sources.ports import Port, serial_ports

PLACES = SITE + KEG
PRESSURE = probe(topic="cellar/K1/pressure")


def test_samples_are_shown_live_and_the_rest_is_proposed(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        broker.publish("cellar/K1/pressure", "54.0", retain=True)
        file = write_cellar(tmp_path, PLACES, mqtt(broker.port), PRESSURE)
        with Listener(file) as listener:
            listener.await_words("retained")
            broker.publish("cellar/K1/pressure", "55.2", "8 psi")
            listener.await_words('"55.2"  ->  k1-pressure: 55.2 = 55.2 kPa, good')
            listener.await_words('"8 psi"  ->  k1-pressure: refused, it is not a number')
            broker.publish("cellar/K1/temp_c", "12.5", "12.6", "12.7")
            listener.await_words('topic = "cellar/K1/temp_c"')
            listener.await_words('unit = "degC"')
            assert listener.interrupt() == 0
        retained = next(line for line in listener.lines if "retained" in line)
        assert retained.endswith(
            '"54.0" (retained: the broker had kept it; its age is not known)  ->  k1-pressure: 54 = 54.0 kPa, good'
        )
        assert f"broker 127.0.0.1:{broker.port}: connected with MQTT 5, listening to #" in listener.states
        start = listener.lines.index("# 12.7 came here")
        text = "\n".join(listener.lines[start:])
        assert "probe" in tomllib.loads(text)
        text = re.sub("^# at", "at", text, flags=re.MULTILINE)
        parse_cellar(file.read_text() + text, file="cellar.toml", base=tmp_path)


def test_as_json_each_line_is_an_object_and_the_span_ends_it(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        broker.publish("a/p", '{"kPa": 3}', retain=True)
        broker.publish("b/p", "7", retain=True)
        file = write_cellar(tmp_path, PLACES, mqtt(broker.port))
        done = leeside_process("listen", file, "--topic", "a/#", "--topic", "c", "--for", "4s", "--json")
    told = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    # The broker may send what it had kept before it has answered the second subscription.
    told.sort(key=lambda entry: str(entry["kind"]))
    assert [entry["kind"] for entry in told] == ["proposal", "sample", "state"]
    assert (told[1]["address"], told[1]["retained"]) == ("a/p", True)
    table = tomllib.loads(told[0]["toml"])["probe"][0]
    assert (table["pointer"], table["unit"]) == ("/kPa", "kPa")


def test_nothing_was_heard(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, PLACES, mqtt(free_port()))
    done = leeside_process("listen", file, "--for", "0.5s")
    assert done.returncode == 1
    assert "Nothing listens at 127.0.0.1" in done.stderr
    assert "Nothing was heard." in done.stderr


def test_a_file_without_a_source(tmp_path: Path) -> None:
    done = leeside_process("listen", write_cellar(tmp_path, PLACES, table("[w1]", path="none")))
    assert done.returncode == 1
    assert "There is nothing to listen to" in done.stderr


def test_a_wrong_call(tmp_path: Path) -> None:
    file = write_cellar(tmp_path, PLACES)
    for arguments, word in (
        ([file, "--topic", "a/#/b"], "--topic"),
        ([file, "--for", "soon"], "--for"),
        ([], "FILE"),
    ):
        done = leeside("listen", *arguments)
        assert done.returncode == 2
        assert word in done.stderr


def test_a_wrong_cellar_file(tmp_path: Path) -> None:
    done = leeside("listen", write_cellar(tmp_path, PLACES, "[[vessel]]\n"))
    assert done.returncode == 1
    assert "[[vessel]] no. 2 id" in done.stderr


def test_lines_in_use_are_left_out_and_the_rest_is_read(tmp_path: Path) -> None:
    with Cable() as free, Cable() as taken:
        held = write_cellar(tmp_path, PLACES, serial(taken.device))
        both = tmp_path / "both.toml"
        both.write_text(PLACES + serial(free.device, "free") + serial(taken.device, "taken"))
        with Listener(held) as other, Listener(both) as listener:
            eventually(lambda: other.said("is open") or other.said("in use"))
            listener.await_words("serial line free")
            free.say_until(b"\nK1 T=12.5\n", lambda: listener.said('free  "K1 T=12.5"  ->  no probe takes it'))
            listener.await_words("K1 T=(?P<value>[-+0-9.]+)")
            assert listener.interrupt() == 0
            assert other.interrupt() == 1


def test_a_line_in_use_names_its_holder(tmp_path: Path) -> None:
    with Cable() as cable:
        file = write_cellar(tmp_path, PLACES, serial(cable.device))
        with Listener(file) as first:
            first.await_words("is open")
            done = leeside_process("listen", file, "--for", "1s")
            assert done.returncode == 1
            assert f"line bench-line is left out: {cable.device} is in use by process {first.pid} (" in done.stderr
            first.interrupt()


def test_one_wire_chips_of_the_file_and_of_the_folder(tmp_path: Path) -> None:
    chips = tmp_path / "chips"
    for name, degrees in (("28-3c01f0964f2b", 12_500), ("28-0000000000aa", 9_000)):
        (chips / name).mkdir(parents=True)
        (chips / name / "temperature").write_text(f"{degrees}\n")
    (chips / "w1_bus_master1").mkdir()
    known = table("[[probe]]", id="t", at="K1", quantity="temperature", w1="28-3c01f0964f2b")
    file = write_cellar(tmp_path, PLACES, table("[w1]", path="chips"), known)
    with Listener(file) as listener:
        listener.await_words("t: 12.5 = 12.5 °C, good")
        listener.await_words('w1 28-0000000000aa  "9000"  ->  no probe takes it')
        listener.await_words('w1 = "28-0000000000aa"')
        assert listener.interrupt() == 0


def test_the_serial_devices_need_no_file(monkeypatch: pytest.MonkeyPatch) -> None:
    adapter = Port(("/dev/serial/by-id/usb-example", "/dev/ttyUSB0"), "USB serial", None, "")
    monkeypatch.setattr("alerts.command.listen.serial_ports", lambda: [adapter])
    done = leeside("listen", "--ports")
    lines = ["/dev/serial/by-id/usb-example  (USB serial)", "    also /dev/ttyUSB0"]
    assert (done.returncode, done.stdout.splitlines()) == (0, lines)
    monkeypatch.setattr("alerts.command.listen.serial_ports", list)
    done = leeside("listen", "--ports")
    assert (done.returncode, "No serial device is there" in done.stdout) == (1, True)


def test_the_serial_devices_of_this_machine_are_listed() -> None:
    done = leeside("listen", "--ports", "--json")
    listed = [json.loads(line)["device"] for line in done.stdout.splitlines()]
    assert listed == [port.names[0] for port in serial_ports()]


def test_beside_a_running_leeside_both_see_every_message(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker, Cable() as cable:
        line = serial(cable.device)
        file = write_cellar(tmp_path, PLACES, mqtt(broker.port), PRESSURE, line)
        with Leeside(file) as running:
            eventually(lambda: "connected to the broker" in running.said() and "is open" in running.said())
            with Listener(file) as listener:
                listener.await_words("listening to #")
                listener.await_words("It is leeside itself")
                values = [f"{50 + number / 10:.1f}" for number in range(40)]
                broker.publish("cellar/K1/pressure", *values)
                eventually(lambda: listener.said(f'"{values[-1]}"'))
                assert listener.interrupt() == 0
            heard = [value for value in values if listener.said(f'"{value}"  ->  k1-pressure')]
            assert heard == values
            # And again when the listener is gone: the running one's session and subscriptions are as they were.
            broker.publish("cellar/K1/pressure", "77.7")
            wanted = [float(value) for value in [*values, "77.7"]]

            def stored() -> list[float]:
                rows = leeside("history", file, "k1-pressure", "--csv").stdout.splitlines()[1:]
                return [float(row.split(",")[1]) for row in rows]

            eventually(lambda: stored() == wanted)
            assert running.stop() == 0
    assert "pushes the other out" not in running.said()
