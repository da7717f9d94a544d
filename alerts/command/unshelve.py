"""`leeside unshelve`: limits that a person muted are to raise alarms again."""

from __future__ import annotations

__all__ = ["unshelve"]

from typing import Annotated, Final

import typer

from alerts.command.asking import Ids, ask, named_limits
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, user_name
from alerts.limits.limits_now import limits_now
from alerts.operator_requests import unshelve_requests
from ingest.process import wall_ms

EXAMPLE: Final = "leeside unshelve cellar.toml K1/pressure/air"


def unshelve(
    file: File,
    ids: Ids,
    who: Who = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A remark for the alarm record.")] = "",
    as_json: Json = False,
) -> int:
    """Let limits that were muted or taken out of service raise alarms again, before their time.

    What is out of range then is an alarm at once, also if it had been acknowledged. Exit code 1 if nothing was muted,
    or leeside is not running.
    """
    with open_cellar(file) as (cellar, store):
        with store.read():
            limits = limits_now(cellar, store, wall_ms())
        targets = named_limits(store, limits, list(dict.fromkeys(ids)))
        names, requests = unshelve_requests(store, limits, targets, note)
        return ask(store, requests, who or user_name(), as_json=as_json, names=names)
