"""`leeside check --ring` and `--confirm`: a real test message to everybody, and who has got it."""

from __future__ import annotations

__all__ = ["check_ring", "confirm", "people_meant"]

import secrets
import time
from collections.abc import Iterator, Sequence
from typing import Final

import typer

from alerts.command.checks.check_result import CheckResult, failed, passed
from alerts.message.ring import new_code, ring
from alerts.view.format import local_time
from ingest.cellar import Cellar, Recipient, nearest
from ingest.errors import IngestError
from ingest.process import wall_ms
from ingest.store import Store, open_existing
from ingest.store.alarms.rings import Ring, confirm_ring, rings

# Starting the library apprise takes some seconds on a small board.
_WAIT_S: Final = 20.0
_LOOK_EVERY_S: Final = 0.05
_PART: Final = "ring"


def people_meant(cellar: Cellar, person: str | None) -> list[Recipient]:
    """List the recipients that a person has, None for everybody. Raises typer.BadParameter for somebody unknown."""
    known = {recipient.person for recipient in cellar.recipients}
    if not known:
        raise typer.BadParameter("nobody gets messages: the cellar file has no [[person]] and no [mail] to")
    if person is not None and person not in known:
        near = nearest(person, known)
        meant = f" Did you mean {near}?" if near else ""
        raise typer.BadParameter(f"there is no person '{person}'.{meant} Known: {', '.join(sorted(known))}")
    return [recipient for recipient in cellar.recipients if person in (None, recipient.person)]


def check_ring(cellar: Cellar, recipients: Sequence[Recipient], who: str) -> Iterator[CheckResult]:
    """Write a test message to each recipient, and wait until the running leeside has sent it."""
    try:
        with open_existing(cellar.store_path) as store:
            codes = [new_code(secrets.choice) for _ in recipients]
            messages = ring(store, cellar, recipients, codes, who, wall_ms())
            yield from _outcomes(store, messages)
    except IngestError as error:
        yield failed(_PART, cellar.site.name, str(error))


def _outcomes(store: Store, messages: Sequence[int]) -> Iterator[CheckResult]:
    deadline = time.monotonic() + _WAIT_S
    waiting = list(messages)
    while waiting:
        by_message = {each.message: each for each in rings(store)}
        is_late = time.monotonic() >= deadline
        for message in list(waiting):
            # One that another ring has replaced meanwhile is not waited for.
            each = by_message.get(message)
            if each is None or each.state != "waiting" or each.error or is_late:
                waiting.remove(message)
                if each is not None:
                    yield _result(each)
        if waiting:
            # Another process sends; SQLite has nothing to wait on.
            time.sleep(_LOOK_EVERY_S)


def _result(each: Ring) -> CheckResult:
    if each.state == "sent":
        text = "sent. Ask for the code in it, then `leeside check FILE --confirm CODE`"
        return passed(_PART, each.recipient, text)
    if each.error:
        return failed(_PART, each.recipient, f"not sent, it is tried again: {each.error}")
    return failed(_PART, each.recipient, f"still waits after {_WAIT_S:g} s: is `leeside run` running?")


def confirm(cellar: Cellar, code: str) -> CheckResult:
    """Note that somebody has said the code of a test message."""
    try:
        with open_existing(cellar.store_path) as store:
            confirmed = confirm_ring(store, code, wall_ms())
    except IngestError as error:
        return failed(_PART, code, str(error))
    if confirmed is None:
        return failed(_PART, code, "no test message has this code; a newer one to the same person takes its place")
    written = local_time(confirmed.written_ms, cellar.site.zone, wall_ms())
    return passed(_PART, confirmed.recipient, f"the test message of {written} has arrived")
