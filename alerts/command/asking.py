"""A request about alarms at the command line: the named limits, and what came of it."""

from __future__ import annotations

__all__ = ["Ids", "ask", "named_limits"]

from collections.abc import Mapping, Sequence
from typing import Annotated

import typer

from alerts.command.terminal import print_plain
from alerts.errors import UnknownLimit
from alerts.operator_requests import NamedLimit, limit_of, wait_for, write_down
from ingest.cellar import EffectiveLimit
from ingest.json_text import json_text
from ingest.operator_event import OperatorRequest
from ingest.process import wall_ms
from ingest.store import Store

Ids = Annotated[list[str], typer.Argument(metavar="ID", help="Short ids of alarms, or keys of limits.")]


def named_limits(store: Store, limits: Mapping[str, EffectiveLimit], names: Sequence[str]) -> list[NamedLimit]:
    """Find the limits that short ids or keys mean. Raises typer.BadParameter for a name of nothing."""
    try:
        return [limit_of(store, limits, name) for name in names]
    except UnknownLimit as error:
        raise typer.BadParameter(
            f"{error} `leeside alarms FILE` lists the alarms, `leeside limits FILE` the limits",
            param_hint="ID",
        ) from error


def ask(
    store: Store,
    requests: Sequence[OperatorRequest],
    who: str,
    *,
    names: Sequence[str],
    as_json: bool,
    ending: str = "",
) -> int:
    """Write the requests down, wait for the turn that applies them, and print what came of each; the exit code.

    names: what the requests are about, as the person wrote it; ending: what follows the words of one that was done.
    Raises NoAnswer where leeside does not run, and TextRefused.
    """
    events = write_down(store, requests, who, wall_ms())
    outcomes = wait_for(store, names, events, wall_ms)
    results = [
        {"id": outcome.name or None, "done": outcome.done, "outcome": outcome.text + (ending if outcome.done else "")}
        for outcome in outcomes
    ]
    if as_json:
        print(json_text({"results": results}, indent=2))
    else:
        for result in results:
            print_plain(str(result["outcome"]))
    return 0 if all(outcome.done for outcome in outcomes) else 1
