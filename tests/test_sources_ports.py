"""Serial devices by their lasting names, tried once, and who has them open."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from ingest.cellar import SerialSettings
from ingest.sources.ports import serial_ports, stable_names
from ingest.sources.serial_port import LineTrial, find_holder, try_line

_WAIT = "\nprint('held', flush=True)\nsys.stdin.read()\n"
_HOLD = "import sys\nport = open(sys.argv[1], 'rb', buffering=0)" + _WAIT
_HOLD_ALONE = "import serial, sys\nport = serial.Serial(sys.argv[1], exclusive=True)" + _WAIT


@pytest.fixture
def device() -> Iterator[str]:
    """A pseudo-terminal that nobody has open; what is written to its other end would arrive there."""
    near, far = pty.openpty()
    tty.setraw(far)
    name = os.ttyname(far)
    os.close(far)
    yield name
    os.close(near)


@contextmanager
def held(device: str, script: str = _HOLD_ALONE) -> Iterator[int]:
    with subprocess.Popen(
        [sys.executable, "-c", script, device], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        yield process.pid
        process.communicate()


def trial(device: str) -> LineTrial:
    return try_line(SerialSettings.model_validate({"id": "bench-line", "device": device}))


def test_a_free_line_can_be_opened_and_is_free_again(device: str) -> None:
    assert trial(device) == LineTrial()
    assert trial(device) == LineTrial()


@pytest.mark.parametrize("script", [_HOLD, _HOLD_ALONE])
def test_a_line_in_use_names_who_has_it(device: str, script: str) -> None:
    with held(device, script) as pid:
        result = trial(device)
        assert result.in_use
        assert result.holder is not None
        assert result.holder.pid == pid
        assert result.error == f"{device} is in use by process {pid} ({result.holder.command})."
    assert trial(device) == LineTrial()


def test_no_such_device(tmp_path: Path) -> None:
    result = trial(str(tmp_path / "ttyUSB7"))
    assert not result.in_use
    assert "There is no device" in result.error
    assert "goes on trying" not in result.error


def test_what_is_no_serial_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert "cannot be read" in trial(str(tmp_path / "file")).error


def test_a_network_port_that_nobody_serves() -> None:
    assert trial("socket://127.0.0.1:1").error


def test_the_lasting_name_comes_first_and_the_holder_is_told(tmp_path: Path, device: str) -> None:
    by_id, by_path = tmp_path / "serial/by-id", tmp_path / "serial/by-path"
    for folder, name in ((by_path, "pci-0000:00:14.0-usb-0:1"), (by_id, "usb-Example_123-if00")):
        folder.mkdir(parents=True)
        (folder / name).symlink_to(device)
    with held(device) as pid:
        (port,) = [port for port in serial_ports(tmp_path) if device in port.names]
        assert port.names == (str(by_id / "usb-Example_123-if00"), str(by_path / "pci-0000:00:14.0-usb-0:1"), device)
        assert port.holder is not None
        assert port.holder.pid == pid
        assert port.hint == ""
    assert find_holder(device) is None


def test_a_link_to_a_device_that_is_gone_is_left_out(tmp_path: Path) -> None:
    folder = tmp_path / "serial/by-id"
    folder.mkdir(parents=True)
    (folder / "usb-gone").symlink_to(tmp_path / "ttyUSB9")
    assert not [port for port in serial_ports(tmp_path) if str(folder / "usb-gone") in port.names]


def test_a_device_without_links_has_its_own_name() -> None:
    assert stable_names(["/dev/ttyS0", "/dev/ttyUSB0"], [("/dev/serial/by-id/x", "/dev/ttyUSB0")]) == {
        "/dev/ttyS0": ("/dev/ttyS0",),
        "/dev/ttyUSB0": ("/dev/serial/by-id/x", "/dev/ttyUSB0"),
    }
