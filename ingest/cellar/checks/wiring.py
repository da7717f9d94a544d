"""The way of a probe's numbers: the topic, line or chip that brings them, and that no other probe takes the same."""

from __future__ import annotations

__all__ = ["shared_value_problems", "wiring_problems"]

import re
from collections.abc import Iterator
from typing import Final

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.connections import MqttSettings
from ingest.cellar.draft import CellarDraft
from ingest.cellar.equipment import Probe
from ingest.cellar.form import SENML_NAME
from ingest.cellar.line_pattern import LinePattern
from ingest.cellar.table_entry import TableEntry
from ingest.cellar.units import normal_unit
from ingest.errors import Problem

_LONGEST_TOPIC_BYTES: Final = 65535  # MQTT 5.0 section 1.5.4: the length is a two-byte number
_PICKED_BY: Final = {"plain": "topic", "json": "pointer", "senml": "name"}
_NOT_FOR_A_CHIP: Final = (
    "pattern",
    "payload",
    "pointer",
    "time_pointer",
    "signal",
    "counts",
    "supply_pointer",
    "decimal",
)
_POINTER: Final = re.compile(r"(?:/(?:[^~/]|~[01])*)*", re.DOTALL)  # RFC 6901 section 3


def wiring_problems(entry: TableEntry[Probe], draft: CellarDraft) -> Iterator[Problem]:
    """Find what is wrong with how one probe's numbers arrive."""
    probe = entry.model
    ways = [key for key in ("topic", "serial", "w1") if key in entry.raw]
    if not ways:
        yield entry.problem(
            "topic", "is missing: give topic (MQTT), serial and pattern (a serial line), or w1 (a one-wire chip)"
        )
    elif len(ways) > 1:
        yield entry.problem(ways[-1], f"give {' or '.join(ways)}, not both: a probe has one way in")
    elif probe.topic is not None:
        yield from _topic(entry, probe.topic, draft)
    elif probe.serial is not None:
        yield from _line(entry, probe.serial, draft)
    else:
        yield from _chip(entry)
    if probe.payload == "senml":
        yield from _senml(entry)
    elif probe.name is not None:
        yield entry.problem("name", 'only payload = "senml" picks a probe by name; leave it out')


def _senml(entry: TableEntry[Probe]) -> Iterator[Problem]:
    probe = entry.model
    if probe.topic is None:
        yield entry.problem("payload", "only what comes by a topic has a payload form; leave it out")
    if probe.signal is not None:
        yield entry.problem("signal", 'SenML carries what was measured, not mA or V; leave it out, or use "json"')
    if probe.name is not None and SENML_NAME.fullmatch(probe.name) is None:
        yield entry.problem(
            "name", "a SenML record cannot have this name: letters, digits, and - : . / _ after the first (RFC 8428)"
        )


def _chip(entry: TableEntry[Probe]) -> Iterator[Problem]:
    probe = entry.model
    if probe.quantity != "temperature":
        yield entry.problem("quantity", 'a one-wire chip is read for its temperature; write "temperature"')
    elif "unit" in entry.raw and normal_unit(probe.unit) not in ("°C", "degC"):
        yield entry.problem("unit", "the chip itself says °C; leave unit out")
    for key in _NOT_FOR_A_CHIP:
        if key in entry.raw and not (key == "payload" and probe.payload == "senml"):
            yield entry.problem(key, "a one-wire chip is read by its id alone; leave this out")


def _topic(entry: TableEntry[Probe], topic: str, draft: CellarDraft) -> Iterator[Problem]:
    probe = entry.model
    if not draft.written(MqttSettings):
        yield entry.problem("topic", "a topic needs the broker: write a table [mqtt] with its host")
    if not topic:
        yield entry.problem("topic", 'must not be empty; write the topic, such as "cellar/K1/pressure"')
    elif "+" in topic or "#" in topic:
        yield entry.problem("topic", 'must be one topic, without the wildcards "+" and "#"')
    elif topic.startswith("$"):
        # MQTT 5.0, sections 4.7.2 and 4.8.2: what begins so is the broker's own, or shared with other programs.
        yield entry.problem(
            "topic",
            'must not begin with "$": such topics belong to the broker, and of "$share/" other programs would get a '
            'part of the readings; write the topic itself, such as "cellar/K1/pressure"',
        )
    elif "\0" in topic:
        yield entry.problem("topic", "must not hold the character NUL")
    elif len(topic.encode()) > _LONGEST_TOPIC_BYTES:
        yield entry.problem("topic", f"is longer than {_LONGEST_TOPIC_BYTES} bytes, the most that MQTT allows")
    if probe.pattern is not None:
        yield entry.problem("pattern", "only a serial line is read by a pattern; leave it out")
    if probe.payload == "json" and probe.pointer is None:
        yield entry.problem("pointer", 'is missing: JSON needs a pointer to the value, such as "/gas/kPa"')
    for key, pointer in _pointers(probe):
        if pointer is None:
            continue
        if probe.payload != "json":
            yield entry.problem(key, 'only payload = "json" has a pointer; add that, or leave this out')
        elif not _POINTER.fullmatch(pointer):
            yield entry.problem(
                key, 'is not a JSON Pointer (RFC 6901): it begins with "/", and "~" is written "~0"; such as "/gas/kPa"'
            )


def _line(entry: TableEntry[Probe], serial: str, draft: CellarDraft) -> Iterator[Problem]:
    probe = entry.model
    known = draft.ids("serial lines")
    if serial not in known:
        yield entry.problem("serial", unknown_name("[[serial]]", serial, known))
    if probe.payload == "json":
        yield entry.problem("payload", "a serial line is read by its pattern; leave payload out")
    for key, value in _pointers(probe):
        if value is None:
            continue
        yield entry.problem(
            key,
            "a serial line has its supply in the pattern's group (?P<supply>[0-9.]+); leave this out"
            if key == "supply_pointer"
            else "a serial line is read by its pattern; leave this out",
        )
    if probe.pattern is None:
        yield entry.problem("pattern", "is missing: a serial line needs one, such as 'K1 T=(?P<value>[-+0-9.]+)'")
        return
    try:
        pattern = LinePattern(probe.pattern)
    except ValueError as error:
        yield entry.problem("pattern", str(error))
        return
    if "value" not in pattern.groups:
        yield entry.problem("pattern", "must have a group named value around the number: (?P<value>[-+0-9.]+)")
    elif pattern.takes_nothing:
        yield entry.problem("pattern", "matches even an empty line; write what must stand in it")


def _pointers(probe: Probe) -> tuple[tuple[str, str | None], ...]:
    return (
        ("pointer", probe.pointer),
        ("time_pointer", probe.time_pointer),
        ("supply_pointer", probe.supply_pointer),
    )


def shared_value_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find probes that would take the same number, and topics that two probes read in different ways."""
    takers: dict[tuple[str, ...], str] = {}
    payloads: dict[str, tuple[str, str]] = {}
    for entry in draft.entries(Probe):
        probe = entry.model
        address: tuple[str, ...]
        if probe.topic is not None and probe.serial is None:
            payload, first = payloads.setdefault(probe.topic, (probe.payload, probe.id))
            if payload != probe.payload:
                yield entry.problem(
                    "payload" if "payload" in entry.raw else "topic",
                    f'{first} reads the same topic as "{payload}"; a topic has one payload form',
                )
                continue
            inside = probe.name or probe.id if probe.payload == "senml" else probe.pointer or ""
            address = ("topic", probe.topic, inside)
            key = _PICKED_BY[probe.payload]
        elif probe.serial is not None and probe.topic is None and probe.pattern is not None:
            address, key = ("serial", probe.serial, probe.pattern), "pattern"
        elif probe.w1 is not None:
            address, key = ("w1", probe.w1), "w1"
        else:
            continue
        other = takers.setdefault(address, probe.id)
        if other != probe.id:
            yield entry.problem(key, f"{other} takes the same value; a value belongs to one probe")
