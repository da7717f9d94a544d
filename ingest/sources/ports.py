"""The serial devices of this machine, each under its most lasting name, who has it, and whether it may be opened."""

from __future__ import annotations

__all__ = ["Port", "serial_ports", "stable_names"]

import grp
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from serial.tools import list_ports

from ingest.sources.serial_port import Holder, find_holder

_LINK_FOLDERS = ("serial/by-id", "serial/by-path")


@dataclass(frozen=True, slots=True)
class Port:
    """names: the best one first, all for one device. hint: what stands in the way of opening it, "" for nothing."""

    names: tuple[str, ...]
    description: str
    holder: Holder | None
    hint: str


def serial_ports(dev: Path = Path("/dev")) -> list[Port]:
    """All serial devices, by name. dev: the folder of device files."""
    descriptions = {port.device: port.description for port in list_ports.comports(include_links=False)}
    links = [link for folder in _LINK_FOLDERS for link in sorted((dev / folder).glob("*")) if link.is_symlink()]
    names_of = stable_names(descriptions, [(str(link), str(link.resolve())) for link in links])
    return [
        Port(names, _description(descriptions.get(device, "")), find_holder(device), _hint(Path(device)))
        for device, names in names_of.items()
        if Path(device).exists()
    ]


def stable_names(devices: Iterable[str], links: Iterable[tuple[str, str]]) -> dict[str, tuple[str, ...]]:
    """Device -> its names, the most lasting first: the links in their order, then the device's own.

    links: (link, device) pairs, the better kind of link first.
    """
    names: dict[str, list[str]] = {}
    for link, device in links:
        names.setdefault(device, []).append(link)
    for device in devices:
        names.setdefault(device, [])
    return {device: (*names[device], device) for device in sorted(names)}


def _description(text: str) -> str:
    return "" if text == "n/a" else text


def _hint(device: Path) -> str:
    if os.access(device, os.R_OK | os.W_OK):
        return ""
    try:
        group = grp.getgrgid(device.stat().st_gid).gr_name
    except (KeyError, OSError):  # a group without a name, or a device that has just gone
        group = "dialout"
    return f"you may not open it: add the user to the group {group} (on Debian `adduser USER {group}`) and log in again"
