"""Reads the cellar file: text -> tables -> a consistent cellar, or every problem at once."""

from __future__ import annotations

__all__ = ["load_cellar", "parse_cellar"]

import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final, TypeVar

from ingest.cellar.checks.connections import consistency_problems
from ingest.cellar.draft import CellarDraft, TableEntry, nearest, read_entry, shown
from ingest.cellar.equipment import (
    BackupSettings,
    Cellar,
    Cylinder,
    LimitSettings,
    MailSettings,
    MirrorSettings,
    MqttSettings,
    PageSettings,
    Probe,
    Room,
    SerialSettings,
    Site,
    StoreSettings,
    Vessel,
    W1Settings,
)
from ingest.cellar.form import Table
from ingest.cellar.limits import effective_limits
from ingest.errors import CellarFileError, Problem

_M = TypeVar("_M", bound=Table)

_SINGLE: Final = ("site", "store", "backup", "mqtt", "w1", "mail", "mirror", "page")
_REPEATED: Final = ("serial", "room", "cylinder", "vessel", "probe", "limit")
_WHERE: Final = re.compile(r"(.*) \(at (line [0-9]+, column [0-9]+|end of document)\)", re.DOTALL)
_LARGEST_BYTES: Final = 4_000_000


def load_cellar(path: Path) -> Cellar:
    """Read and check a cellar file. Raises CellarFileError with every problem found."""
    file = str(path)
    try:
        with path.open("rb") as opened:
            data = opened.read(_LARGEST_BYTES + 1)
    except IsADirectoryError:
        raise _unreadable(file, "is a folder; name the cellar file in it") from None
    except (OSError, ValueError) as error:  # ValueError: a NUL character in the path
        reason = getattr(error, "strerror", None) or error
        raise _unreadable(file, f"cannot be read: {reason}; look at the path and its permissions") from None
    if len(data) > _LARGEST_BYTES:
        raise _unreadable(file, f"is larger than {_LARGEST_BYTES} bytes, so it is no cellar file")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _unreadable(
            file, f"is not UTF-8: line {line} holds the byte 0x{data[error.start]:02x}; save it as UTF-8"
        ) from None
    return parse_cellar(text, file=file, base=path.parent)


def parse_cellar(text: str, *, file: str, base: Path) -> Cellar:
    """Read and check the text of a cellar file.

    file: its name, for messages; base: the folder that its relative paths count from.
    Raises CellarFileError with every problem found.
    """
    tables = _tables(text, file)
    draft, problems = _draft(tables)
    problems += consistency_problems(draft)
    if problems or draft.site is None:
        raise CellarFileError(file, problems)
    store = draft.store.model if draft.store else StoreSettings()
    vessels = tuple(entry.model for entry in draft.vessel)
    probes = tuple(entry.model for entry in draft.probe)
    settings = tuple(entry.model for entry in draft.limit)
    return Cellar(
        site=draft.site.model,
        store=store,
        backup=draft.backup.model if draft.backup else None,
        mqtt=draft.mqtt.model if draft.mqtt else None,
        serial=tuple(entry.model for entry in draft.serial),
        w1=draft.w1.model if draft.w1 else W1Settings(),
        room=tuple(entry.model for entry in draft.room),
        cylinder=tuple(entry.model for entry in draft.cylinder),
        vessel=vessels,
        probe=probes,
        limit=settings,
        mail=draft.mail.model if draft.mail else None,
        mirror=draft.mirror.model if draft.mirror else None,
        page=draft.page.model if draft.page else None,
        limits=effective_limits(vessels, probes, settings, units=draft.site.model.units),
        base=base,
        file=file,
        text=text,
    )


def _unreadable(file: str, what: str) -> CellarFileError:
    return CellarFileError(file, [Problem("the file", "", "", what)])


def _tables(text: str, file: str) -> dict[str, object]:
    try:
        return tomllib.loads(text.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))
    except RecursionError:
        raise CellarFileError(file, [Problem("the file", "", "", "not TOML: brackets are nested too deep")]) from None
    except ValueError as error:  # TOMLDecodeError is one; a number with thousands of digits raises the bare one
        found = _WHERE.fullmatch(str(error))
        reason, where = found.groups() if found else (str(error), "the file")
        raise CellarFileError(file, [Problem(where, "", "", f"not TOML: {reason}")]) from None


def _draft(tables: Mapping[str, object]) -> tuple[CellarDraft, list[Problem]]:
    """Each table on its own, so that one wrong table hides nothing in the others."""
    draft = CellarDraft(written=_written(tables))
    problems: list[Problem] = []
    for name, value in tables.items():
        problems += _shape_problems(name, value, tables)
    if "site" not in tables:
        problems.append(Problem("[site]", "", "", "is missing: a table [site] with name and timezone is needed"))
    draft.site = _single(Site, "site", draft, problems)
    draft.store = _single(StoreSettings, "store", draft, problems)
    draft.backup = _single(BackupSettings, "backup", draft, problems)
    draft.mqtt = _single(MqttSettings, "mqtt", draft, problems)
    draft.w1 = _single(W1Settings, "w1", draft, problems)
    draft.mail = _single(MailSettings, "mail", draft, problems)
    draft.mirror = _single(MirrorSettings, "mirror", draft, problems)
    draft.page = _single(PageSettings, "page", draft, problems)
    draft.serial = _repeated(SerialSettings, "serial", draft, problems)
    draft.room = _repeated(Room, "room", draft, problems)
    draft.cylinder = _repeated(Cylinder, "cylinder", draft, problems)
    draft.vessel = _repeated(Vessel, "vessel", draft, problems)
    draft.probe = _repeated(Probe, "probe", draft, problems)
    draft.limit = _repeated(LimitSettings, "limit", draft, problems)
    return draft, problems


def _shape_problems(name: str, value: object, tables: Mapping[str, object]) -> Iterator[Problem]:
    if name in _SINGLE:
        if not isinstance(value, dict):
            yield Problem(f"[{name}]", "", "", f"write it once, as a table [{name}] with single brackets")
    elif name in _REPEATED:
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            yield Problem(f"[[{name}]]", "", "", f"write each one as a table [[{name}]] with double brackets")
    elif isinstance(value, dict | list):
        near = nearest(name, (*_SINGLE, *_REPEATED))
        meant = f'did you mean "{near}"?' if near else "known tables: " + ", ".join((*_SINGLE, *_REPEATED))
        yield Problem(f"[{name}]", "", "", f"there is no such table; {meant}")
    else:
        yield Problem("the file", name, shown(name, value), "a key must stand inside a table, such as [site]")


def _written(tables: Mapping[str, object]) -> dict[str, list[tuple[str, Mapping[str, object]]]]:
    """Each table with its label, also what cannot be read."""
    written: dict[str, list[tuple[str, Mapping[str, object]]]] = {name: [] for name in (*_SINGLE, *_REPEATED)}
    for name in _SINGLE:
        raw = tables.get(name)
        if isinstance(raw, dict):
            written[name].append((f"[{name}]", raw))
    for name in _REPEATED:
        value = tables.get(name)
        items = [item for item in value if isinstance(item, dict)] if isinstance(value, list) else []
        written[name] += [(_label(name, number, raw), raw) for number, raw in enumerate(items, start=1)]
    return written


def _single(model: type[_M], name: str, draft: CellarDraft, problems: list[Problem]) -> TableEntry[_M] | None:
    entries = _repeated(model, name, draft, problems)
    return entries[0] if entries else None


def _repeated(model: type[_M], name: str, draft: CellarDraft, problems: list[Problem]) -> list[TableEntry[_M]]:
    entries = []
    for label, raw in draft.written[name]:
        entry, found = read_entry(model, label, raw)
        problems += found
        if entry is None:
            draft.broken.add(name)
        else:
            entries.append(entry)
    return entries


def _label(name: str, number: int, raw: Mapping[str, object]) -> str:
    """How a table is called in a message: by its id, a limit without one by what it judges, else by its number."""
    if isinstance(raw.get("id"), str) and raw["id"]:
        return f"[[{name}]] {raw['id']}"
    at, quantity = raw.get("at"), raw.get("quantity")
    sides = [side for side in ("low", "high") if side in raw]
    if name == "limit" and isinstance(at, str) and isinstance(quantity, str) and len(sides) == 1:
        return f"[[limit]] {at}/{quantity}/{sides[0]}"
    return f"[[{name}]] no. {number}"
