"""What must hold between the keys of a table and between tables, beyond what one key can say."""

from __future__ import annotations

__all__ = ["consistency_problems"]

from collections.abc import Iterator

from ingest.cellar.checks.ids import name_problems
from ingest.cellar.checks.limits import setpoint_problems
from ingest.cellar.checks.wiring import wiring_problems
from ingest.cellar.connections import MailSettings, MirrorSettings, MqttSettings, is_loopback
from ingest.cellar.draft import CellarDraft, TableEntry
from ingest.errors import Problem


def consistency_problems(draft: CellarDraft) -> list[Problem]:
    """Every problem between the tables that could be read; ids of the others count as known."""
    return [
        *name_problems(draft),
        *_connection_problems(draft),
        *_vessel_problems(draft),
        *wiring_problems(draft),
        *setpoint_problems(draft),
    ]


def _connection_problems(draft: CellarDraft) -> Iterator[Problem]:
    if draft.mqtt is not None:
        yield from _sign_in(draft.mqtt)
        if draft.mqtt.model.ca_file is not None and not draft.mqtt.model.tls:
            yield draft.mqtt.problem("ca_file", "is only used with tls = true; add that, or leave this out")
    if draft.mail is not None:
        yield from _sign_in(draft.mail)
        mail = draft.mail.model
        if mail.user is not None and mail.security == "none" and not is_loopback(mail.host):
            yield draft.mail.problem(
                "security", 'user and password would cross the network in the clear; write "starttls" or "tls"'
            )
    if draft.mirror is not None:
        yield from _mirror_problems(draft.mirror)
    if draft.page is not None and not is_loopback(draft.page.model.host):
        yield draft.page.problem(
            "address",
            "the page has no password in this version, so only this machine may reach it; "
            'write "127.0.0.1" and a port, and use an SSH tunnel from elsewhere',
        )


def _mirror_problems(entry: TableEntry[MirrorSettings]) -> Iterator[Problem]:
    mirror = entry.model
    if mirror.token_env is not None and mirror.token_file is not None:
        yield entry.problem("token_file", "give token_env or token_file, not both")
    if mirror.encrypted:
        return
    if mirror.ca_file is not None:
        yield entry.problem("ca_file", "is only used with https://; change the url, or leave this out")
    if (mirror.token_env or mirror.token_file) and not is_loopback(mirror.host):
        yield entry.problem(
            "url",
            "the token would cross the network in the clear, and whoever hears it can write into the bucket; "
            "use https:// (ca_file takes a certificate of your own), or a tunnel that ends on this machine",
        )


def _sign_in(entry: TableEntry[MqttSettings] | TableEntry[MailSettings]) -> Iterator[Problem]:
    given = [key for key in ("password_env", "password_file") if key in entry.raw]
    if entry.model.user is None:
        for key in given:
            yield entry.problem(key, "a password needs a user; add user, or leave this out")
    elif not given:
        yield entry.problem("user", "needs password_env (a variable's name) or password_file (a file's path)")
    elif len(given) > 1:
        yield entry.problem("password_file", "give password_env or password_file, not both")


def _vessel_problems(draft: CellarDraft) -> Iterator[Problem]:
    for entry in draft.vessel:
        vessel = entry.model
        if vessel.material == "glass" and vessel.max_pressure_kpa is not None:
            yield entry.problem(
                "max_pressure", "glass bursts under pressure: never put any on it; leave max_pressure out"
            )
        elif vessel.under_gas and vessel.max_pressure_kpa is None:
            yield entry.problem(
                "max_pressure", f'is missing: a {vessel.kind} with gas needs what is stamped on it, such as "200 kPa"'
            )
