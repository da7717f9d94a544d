"""Connections: sign-in, encryption and addresses that fit together, serial lines that are opened once."""

from __future__ import annotations

__all__ = ["broker_problems", "digest_problems", "mail_problems", "mirror_problems", "page_problems", "serial_problems"]

from collections.abc import Iterator
from typing import Final

from ingest.cellar.connections import (
    MailSettings,
    MirrorSettings,
    MqttSettings,
    SerialSettings,
    is_loopback,
)
from ingest.cellar.digest_settings import DigestSettings
from ingest.cellar.draft import CellarDraft
from ingest.cellar.page_settings import PageSettings
from ingest.cellar.people import Person
from ingest.cellar.table_entry import TableEntry, as_written
from ingest.errors import Problem

# What samples of the other ways in are marked with.
_OTHER_SOURCES: Final = ("mqtt", "w1")
_SHORTEST_ANSWER_S: Final = 0.1


def broker_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find what does not fit together in ``[mqtt]``."""
    for entry in draft.entries(MqttSettings):
        yield from _sign_in(entry)
        if entry.model.ca_file is not None and not entry.model.tls:
            yield entry.problem("ca_file", "is only used with tls = true; add that, or leave this out")


def mail_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find what does not fit together in ``[mail]``."""
    for entry in draft.entries(MailSettings):
        yield from _sign_in(entry)
        mail = entry.model
        if "to" not in entry.raw and not draft.written(Person):
            yield entry.problem("to", "is missing: a list of addresses that get messages, or a table [[person]]")
        if mail.user is not None and mail.security == "none" and not is_loopback(mail.host):
            yield entry.problem(
                "security", 'user and password would cross the network in the clear; write "starttls" or "tls"'
            )


def digest_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find what does not fit together in ``[digest]``."""
    for entry in draft.entries(DigestSettings):
        if entry.model.on is not None and entry.model.every == "day":
            yield entry.problem("on", 'is the day of a weekly digest; add every = "week", or leave this out')
        if not draft.written(Person) and not draft.written(MailSettings):
            yield entry.problem("at", "nobody would get it: add [mail] with to, or a table [[person]]")


def mirror_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find what does not fit together in ``[mirror]``."""
    for entry in draft.entries(MirrorSettings):
        mirror = entry.model
        if mirror.token_env is not None and mirror.token_file is not None:
            yield entry.problem("token_file", "give token_env or token_file, not both")
        if mirror.encrypted:
            continue
        if mirror.ca_file is not None:
            yield entry.problem("ca_file", "is only used with https://; change the url, or leave this out")
        if (mirror.token_env or mirror.token_file) and not is_loopback(mirror.host):
            yield entry.problem(
                "url",
                "the token would cross the network in the clear, and anybody who sees it can write into the bucket; "
                "use https:// (ca_file takes a certificate of your own), or a tunnel that ends on this machine",
            )


def page_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find a page that other machines could reach without a password, and keys that do not fit together."""
    for entry in draft.entries(PageSettings):
        page = entry.model
        if page.password_hash_env is not None and page.password_hash_file is not None:
            yield entry.problem("password_hash_file", "give password_hash_env or password_hash_file, not both")
        if page.opened_by is not None and not page.has_password:
            yield entry.problem(
                page.opened_by,
                'other machines can reach the page, so it needs a password: add password_hash_file = "page-password" '
                "and call `leeside page --password`; or leave this out, and use an SSH tunnel from elsewhere",
            )
        if (page.certificate is None) != (page.key is None):
            given, missing = ("certificate", "key") if page.key is None else ("key", "certificate")
            yield entry.problem(given, f"needs {missing}, the file of the other half, for https://")


def serial_problems(draft: CellarDraft) -> Iterator[Problem]:
    """Find lines with the name of another way in or the device of another line, and questions that cannot be asked."""
    for written in draft.written(SerialSettings):
        if written.raw.get("id") in _OTHER_SOURCES:
            yield written.problem(
                "id",
                f"leeside uses this name for another way in; choose a name other than {' and '.join(_OTHER_SOURCES)}",
            )
    lines: dict[str, str] = {}
    for entry in draft.entries(SerialSettings):
        yield from _questions(entry)
        other = lines.setdefault(entry.model.device, entry.model.id)
        if other != entry.model.id:
            yield entry.problem(
                "device", f"{other} has this device; a line is opened once, and many probes may read it"
            )


def _questions(entry: TableEntry[SerialSettings]) -> Iterator[Problem]:
    """Check what an instrument is asked, and how often."""
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
            text = as_written("", question)
            yield entry.problem("poll", f"cannot be sent in the line's encoding {line.encoding}: {text}")


def _sign_in(entry: TableEntry[MqttSettings] | TableEntry[MailSettings]) -> Iterator[Problem]:
    given = [key for key in ("password_env", "password_file") if key in entry.raw]
    if entry.model.user is None:
        for key in given:
            yield entry.problem(key, "a password needs a user; add user, or leave this out")
    elif not given:
        yield entry.problem("user", "needs password_env (a variable's name) or password_file (a file's path)")
    elif len(given) > 1:
        yield entry.problem("password_file", "give password_env or password_file, not both")
