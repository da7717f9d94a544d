"""`leeside unshelve`: limits that a person muted are to raise alarms again."""

from __future__ import annotations

__all__ = ["unshelve"]

from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.operator_requests import Ids, ask, limit_of
from alerts.command.options import File, Json, Who, user_name
from alerts.limits.limits_now import limits_now
from alerts.view.status import muted_limits
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.process import wall_ms

EXAMPLE: Final = "leeside unshelve cellar.toml K1/pressure/air"


def unshelve(
    file: File,
    ids: Ids,
    who: Who = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A remark for the alarm record.")] = "",
    as_json: Json = False,
) -> int:
    """Let limits that were shelved or taken out of service raise alarms again, before their time.

    What is out of range then is an alarm at once, also if it had been acknowledged. Exit code 1 if nothing was muted,
    or leeside is not running.
    """
    requests, names = [], []
    with open_cellar(file) as (cellar, store):
        with store.read():
            limits = limits_now(cellar, store, wall_ms())
        targets = [limit_of(store, limits, name) for name in dict.fromkeys(ids)]
        muted = {status.key: status.alarm for status in muted_limits(limits, store)}
        for target in targets:
            alarm = muted.get(target.key)
            kinds = []
            if alarm is not None and alarm.out_of_service is not None:
                kinds.append(OperatorEventKind.RETURN_TO_SERVICE)
            if alarm is None or alarm.shelving is not None:
                kinds.append(OperatorEventKind.UNSHELVE)
            requests += [OperatorRequest(kind, target.key, note) for kind in kinds]
            names += [target.name] * len(kinds)
        return ask(store, requests, who or user_name(), as_json=as_json, names=names)
