"""`leeside acknowledge`: alarms have been seen."""

from __future__ import annotations

__all__ = ["acknowledge"]

from typing import Annotated, Final

import typer

from alerts.command.asking import ask, named_limits
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, user_name
from alerts.limits.limits_now import limits_now
from ingest.operator_event import OperatorEventKind, OperatorRequest
from ingest.process import wall_ms

EXAMPLE: Final = "leeside acknowledge cellar.toml 7f3k --note 'on my way'"


def acknowledge(
    file: File,
    ids: Annotated[
        list[str] | None, typer.Argument(metavar="ID", help="Short ids of alarms, or keys of their limits.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="All that nobody has acknowledged yet.")] = False,
    who: Who = None,
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="A remark for the alarm record.")] = "",
    as_json: Json = False,
) -> int:
    """Say that alarms have been seen. It changes nothing in the cellar.

    Exit code 1 if there was nothing to acknowledge, or leeside is not running.
    """
    names = list(dict.fromkeys(ids or ()))
    if everything == bool(names):
        raise typer.BadParameter("say which alarms by their ids, or --all; not both", param_hint="ID..., --all")
    with open_cellar(file) as (cellar, store):
        with store.read():
            limits = limits_now(cellar, store, wall_ms())
        named_limits(store, limits, names)
        requests = [OperatorRequest(OperatorEventKind.ACKNOWLEDGE, name, note) for name in names]
        if everything:
            names, requests = [""], [OperatorRequest(OperatorEventKind.ACKNOWLEDGE_ALL, "", note)]
        return ask(store, requests, who or user_name(), as_json=as_json, names=names)
