"""Probes: where each stands, what it measures, and which topic or line brings its numbers to it alone."""

from __future__ import annotations

__all__ = ["wiring_problems"]

import re
import warnings
from collections.abc import Iterator
from typing import Final

from ingest.cellar.checks.ids import unknown_name
from ingest.cellar.checks.probes import signal_problems
from ingest.cellar.draft import CellarDraft, TableEntry, shown
from ingest.cellar.equipment import Probe, SerialSettings
from ingest.cellar.form import SENML_NAME
from ingest.cellar.quantities import QUANTITIES, series_unit_conversion
from ingest.cellar.units import UnitError, find_unit, normal_unit
from ingest.errors import Problem

_PLACES: Final = ("room", "cylinder", "vessel")
_LONGEST_TOPIC_BYTES: Final = 65535  # MQTT 5.0 section 1.5.4: the length is a two-byte number
_SHORTEST_ANSWER_S: Final = 0.1
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


def wiring_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Everything that is wrong with where probes stand and how their numbers arrive."""
    kinds = draft.kinds()
    for entry in draft.probe:
        yield from _place(entry, draft, kinds)
        yield from _unit(entry, draft)
        yield from signal_problems(entry)
        yield from _way(entry, draft)
    yield from _shared_values(draft)
    yield from _shared_lines(draft)


def _place(entry: TableEntry[Probe], draft: CellarDraft, kinds: dict[str, str]) -> Iterator[Problem]:
    probe = entry.model
    known = draft.ids(*_PLACES)
    if probe.at not in known:
        yield entry.problem("at", unknown_name("vessel, cylinder or room", probe.at, known))
        return
    kind = kinds.get(probe.at)
    if kind is None:
        return  # that table could not be read, which is said there
    row = QUANTITIES[probe.quantity]
    if kind not in row.places:
        yield entry.problem("quantity", f"is not measured at a {kind}; {row.elsewhere}")
    if probe.mounted is not None:
        if probe.quantity != "temperature":
            yield entry.problem(
                "mounted", "only a temperature probe is mounted in wine, at a wall or in air; leave it out"
            )
        elif probe.mounted != "air" and kind == "room":
            yield entry.problem("mounted", 'a room has no wine and no vessel wall; write "air" or leave it out')


def _unit(entry: TableEntry[Probe], draft: CellarDraft) -> Iterator[Problem]:
    probe = entry.model
    row = QUANTITIES[probe.quantity]
    key = "unit" if probe.signal is None else "signal"  # a signal's label says the unit
    if "reference" in entry.raw and probe.quantity != "pressure":
        yield entry.problem("reference", 'only quantity = "pressure" has a reference; leave it out')
    elif probe.reference != "gauge" and draft.site is not None and draft.site.model.altitude_m is None:
        yield entry.problem("reference", 'needs altitude in [site], such as "340 m", to tell the pressure of the air')
    try:
        series_unit_conversion(probe.quantity, probe.unit)
    except UnitError as error:
        yield entry.problem(key, str(error))
        return
    says = find_unit(row.dimension, probe.unit).reference
    if says is None:
        return
    if probe.quantity == "barometric_pressure":
        if says == "gauge":
            yield entry.problem(key, 'the pressure of the air is absolute; write a unit such as "hPa"')
    elif says != ("absolute" if probe.reference == "absolute" else "gauge"):
        yield entry.problem(
            key, f'is {says} pressure, but this probe has reference = "{probe.reference}"; change one of the two'
        )


def _way(entry: TableEntry[Probe], draft: CellarDraft) -> Iterator[Problem]:
    """By a topic or by a serial line, and all that belongs to that way."""
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
            "name", "no SenML record can be called so: letters, digits, and - : . / _ behind the first (RFC 8428)"
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
    if not draft.written.get("mqtt"):
        yield entry.problem("topic", "a topic needs the broker: write a table [mqtt] with its host")
    if not topic:
        yield entry.problem("topic", 'must not be empty; write the topic, such as "cellar/K1/pressure"')
    elif "+" in topic or "#" in topic:
        yield entry.problem("topic", 'must be one topic, without the wildcards "+" and "#"')
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
                key, 'is no JSON Pointer (RFC 6901): it begins with "/", and "~" is written "~0"; such as "/gas/kPa"'
            )


def _line(entry: TableEntry[Probe], serial: str, draft: CellarDraft) -> Iterator[Problem]:
    probe = entry.model
    known = draft.ids("serial")
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
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            pattern = re.compile(probe.pattern)
        except (re.error, RecursionError, OverflowError, Warning) as error:
            yield entry.problem("pattern", f"is no regular expression: {error}")
            return
    if "value" not in pattern.groupindex:
        yield entry.problem("pattern", "must have a group named value around the number: (?P<value>[-+0-9.]+)")
    elif pattern.search(""):
        yield entry.problem("pattern", "matches even an empty line; write what must stand in it")


def _pointers(probe: Probe) -> tuple[tuple[str, str | None], ...]:
    return (
        ("pointer", probe.pointer),
        ("time_pointer", probe.time_pointer),
        ("supply_pointer", probe.supply_pointer),
    )


def _shared_values(draft: CellarDraft) -> Iterator[Problem]:
    """Two probes that would take the same number, and topics that two probes read in different ways."""
    takers: dict[tuple[str, ...], str] = {}
    payloads: dict[str, tuple[str, str]] = {}
    for entry in draft.probe:
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
            place = probe.name or probe.id if probe.payload == "senml" else probe.pointer or ""
            address = ("topic", probe.topic, place)
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


def _shared_lines(draft: CellarDraft) -> Iterator[Problem]:
    lines: dict[str, str] = {}
    for entry in draft.serial:
        yield from _questions(entry)
        other = lines.setdefault(entry.model.device, entry.model.id)
        if other != entry.model.id:
            yield entry.problem(
                "device", f"{other} has this device; a line is opened once, and many probes may read it"
            )


def _questions(entry: TableEntry[SerialSettings]) -> Iterator[Problem]:
    """What an instrument is asked, and how often."""
    line = entry.model
    if "poll_every" in entry.raw and not line.poll:
        yield entry.problem("poll_every", "is only used with poll, what is sent to the instrument; add that")
    elif len(line.poll) * _SHORTEST_ANSWER_S > line.poll_every_s:
        yield entry.problem(
            "poll_every", f"is too short for {len(line.poll)} questions: at least 0.1 s is needed for each"
        )
    for question in line.poll:
        try:
            question.encode(line.encoding)
        except UnicodeEncodeError:
            yield entry.problem("poll", f"cannot be sent in the line's encoding {line.encoding}: {shown('', question)}")
