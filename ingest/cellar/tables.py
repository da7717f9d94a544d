"""The one registry of the tables of the cellar file: the fields of ``Cellar``, each with its model, ids and check."""

from __future__ import annotations

__all__ = ["TABLES", "Cellar"]

from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import Final

from ingest.cellar.channels import ChannelSettings
from ingest.cellar.checks.channels import channel_problems
from ingest.cellar.checks.connections import (
    broker_problems,
    digest_problems,
    mail_problems,
    mirror_problems,
    page_problems,
    serial_problems,
)
from ingest.cellar.checks.gas_lines import gas_line_problems
from ingest.cellar.checks.heartbeat import heartbeat_problems
from ingest.cellar.checks.limits import limit_problems
from ingest.cellar.checks.people import person_problems
from ingest.cellar.checks.places import cylinder_problems, vessel_problems
from ingest.cellar.checks.probes import probe_problems
from ingest.cellar.connections import (
    BackupSettings,
    MailSettings,
    MirrorSettings,
    MqttSettings,
    SerialSettings,
    StoreSettings,
    W1Settings,
)
from ingest.cellar.default_limits import effective_limits, possible_limits
from ingest.cellar.digest_settings import DigestSettings
from ingest.cellar.draft import Check, IdSpace, TableKind
from ingest.cellar.equipment import Cylinder, Place, Probe, Room, Site, Vessel
from ingest.cellar.file_limits import WinePlaces
from ingest.cellar.form import Table
from ingest.cellar.gas_line import GasLine
from ingest.cellar.heartbeat import HeartbeatSettings
from ingest.cellar.limits import EffectiveLimit, LimitSettings
from ingest.cellar.page_settings import PageSettings
from ingest.cellar.people import Person, Recipient, recipients
from ingest.cellar.quantities import PlaceKind


def _table(
    model: type[Table], *, needed: bool = False, absent: Table | None = None, check: Check | None = None
) -> dict[str, object]:
    """Describe a field of ``Cellar`` that stands for a table of its name; see ``TableKind``."""
    return {"model": model, "needed": needed, "absent": absent, "check": check}


def _tables(model: type[Table], ids: IdSpace, check: Check | None = None) -> dict[str, object]:
    """Describe a field of ``Cellar`` that stands for repeated tables of its name; see ``TableKind``."""
    return {"model": model, "repeated": True, "ids": ids, "check": check}


@dataclass(frozen=True, kw_only=True)
class Cellar:
    """A cellar file that has been read and found consistent.

    A field for each table; limits: every limit that is watched, but those on wine (``limits_with``); base: the file's
    folder; file: its name for messages; text: as it was read.
    """

    site: Site = field(metadata=_table(Site, needed=True))
    store: StoreSettings = field(metadata=_table(StoreSettings, absent=StoreSettings()))
    backup: BackupSettings | None = field(metadata=_table(BackupSettings))
    mqtt: MqttSettings | None = field(metadata=_table(MqttSettings, check=broker_problems))
    w1: W1Settings = field(metadata=_table(W1Settings, absent=W1Settings()))
    mail: MailSettings | None = field(metadata=_table(MailSettings, check=mail_problems))
    digest: DigestSettings | None = field(metadata=_table(DigestSettings, check=digest_problems))
    mirror: MirrorSettings | None = field(metadata=_table(MirrorSettings, check=mirror_problems))
    page: PageSettings | None = field(metadata=_table(PageSettings, check=page_problems))
    person: tuple[Person, ...] = field(metadata=_tables(Person, "people", person_problems))
    channel: tuple[ChannelSettings, ...] = field(metadata=_tables(ChannelSettings, "channels", channel_problems))
    heartbeat: HeartbeatSettings | None = field(metadata=_table(HeartbeatSettings, check=heartbeat_problems))
    serial: tuple[SerialSettings, ...] = field(metadata=_tables(SerialSettings, "serial lines", serial_problems))
    room: tuple[Room, ...] = field(metadata=_tables(Room, "places"))
    cylinder: tuple[Cylinder, ...] = field(metadata=_tables(Cylinder, "places", cylinder_problems))
    vessel: tuple[Vessel, ...] = field(metadata=_tables(Vessel, "places", vessel_problems))
    gas_line: tuple[GasLine, ...] = field(metadata=_tables(GasLine, "gas lines", gas_line_problems))
    probe: tuple[Probe, ...] = field(metadata=_tables(Probe, "probes", probe_problems))
    limit: tuple[LimitSettings, ...] = field(metadata=_tables(LimitSettings, "limits", limit_problems))
    limits: tuple[EffectiveLimit, ...]
    base: Path
    file: str
    text: str = field(repr=False)

    @property
    def store_path(self) -> Path:
        """The store's file; a relative path counts from the cellar file's folder."""
        return self.base / self.store.path

    @property
    def backup_folder(self) -> Path:
        """Where backups go; a relative path counts from the cellar file's folder."""
        return self.base / (self.backup or BackupSettings()).folder

    @cached_property
    def recipients(self) -> tuple[Recipient, ...]:
        """Everybody who gets messages, on each of their channels: ``[mail] to`` first, then each ``[[person]]``."""
        return recipients(self.mail, self.person, self.site.waking)

    @property
    def sender(self) -> str:
        """The mail address whose domain Message-IDs are under, "" without ``[mail]``."""
        return "" if self.mail is None else self.mail.sender

    def limits_with(self, wine: WinePlaces) -> tuple[EffectiveLimit, ...]:
        """List every limit that is watched while wine lies there."""
        if not self.has_limits_on_wine:
            return self.limits
        return effective_limits(
            self.vessel, self.probe, self.limit, units=self.site.units, wine=wine, cylinders=self.cylinder
        )

    @property
    def has_limits_on_wine(self) -> bool:
        """Whether a limit on a value goes with wine from vessel to vessel."""
        return any(setting.lot is not None and setting.due is None for setting in self.limit)

    @property
    def possible_limits(self) -> tuple[EffectiveLimit, ...]:
        """Every limit that may be watched some day, wherever wine will lie."""
        return possible_limits(self.vessel, self.probe, self.limit, units=self.site.units, cylinders=self.cylinder)

    @property
    def places(self) -> tuple[Place, ...]:
        """Every place: vessels, cylinders, rooms, each in the file's order."""
        return (*self.vessel, *self.cylinder, *self.room)

    def place(self, id: str) -> Place:
        """Find the place of that id. Raises KeyError."""
        for place in self.places:
            if place.id == id:
                return place
        raise KeyError(id)

    def place_kind(self, id: str) -> PlaceKind:
        """Give the vessel's kind, or ``cylinder`` or ``room``. Raises KeyError."""
        return self.place(id).kind

    def probes_at(self, place: str) -> tuple[Probe, ...]:
        """List the probes at a place, in the file's order."""
        return tuple(probe for probe in self.probe if probe.at == place)


TABLES: Final = tuple(TableKind(name=table.name, **table.metadata) for table in fields(Cellar) if table.metadata)
