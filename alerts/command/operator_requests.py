"""Requests about alarms: which limit a person means, and what the next turn of the running leeside makes of them."""

from __future__ import annotations

__all__ = ["Ids", "NamedLimit", "ask", "limit_of"]

import difflib
import time
from collections.abc import Mapping, Sequence
from typing import Annotated, Final, NamedTuple

import typer

from alerts.command.terminal import print_plain
from alerts.errors import NoAnswer
from ingest.cellar import EffectiveLimit
from ingest.json_text import json_text
from ingest.operator_event import OperatorRequest
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.alarms.alarm_record import key_of_occurrence
from ingest.store.alarms.operator_events import append_events, outcome_of
from ingest.store.pulse_rows import pulses

WAIT_S: Final = 3.0
LOOK_EVERY_S: Final = 0.05

Ids = Annotated[list[str], typer.Argument(metavar="ID", help="Short ids of alarms, or keys of limits.")]


class NamedLimit(NamedTuple):
    """name: as the person wrote it; key: of the limit; limit: None where it has left the cellar file."""

    name: str
    key: str
    limit: EffectiveLimit | None


def limit_of(store: Store, limits: Mapping[str, EffectiveLimit], name: str) -> NamedLimit:
    """Find the limit that a short id or a key means. Raises typer.BadParameter for a name of nothing."""
    name = name.strip()
    key = name if name in limits else key_of_occurrence(store, name.lower())
    if key is not None:
        return NamedLimit(name, key, limits.get(key))
    near = difflib.get_close_matches(name, limits, n=3, cutoff=0.5)
    meant = f" Did you mean {' or '.join(near)}?" if near else ""
    raise typer.BadParameter(
        f"no alarm and no limit is called '{name}'.{meant} `leeside alarms FILE` lists the alarms, "
        "`leeside limits FILE` the limits",
        param_hint="ID",
    )


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
    events = append_events(store, requests, who, wall_ms())
    deadline = time.monotonic() + WAIT_S
    results = []
    for name, event in zip(names, events, strict=True):
        outcome = _await_outcome(store, event, deadline)
        done = not outcome.startswith(("nothing done", "not done"))
        results.append({"id": name or None, "done": done, "outcome": outcome + (ending if done else "")})
    if as_json:
        print(json_text({"results": results}, indent=2))
    else:
        for result in results:
            print_plain(str(result["outcome"]))
    return 0 if all(result["done"] for result in results) else 1


def _await_outcome(store: Store, event: int, deadline: float) -> str:
    while True:
        outcome = outcome_of(store, event)
        if outcome is not None:
            return outcome
        if time.monotonic() >= deadline:
            break
        # Another process writes the answer; SQLite has nothing to wait on.
        time.sleep(LOOK_EVERY_S)
    pulse = pulses(store).alerts
    heard = (
        "it has never run on this store"
        if pulse is None
        else f"it was last heard of {(wall_ms() - pulse.at_ms) // 1000} s ago"
    )
    raise NoAnswer(
        f"leeside did not answer within {WAIT_S:g} s: is `leeside run` running ({heard})? "
        "What you wrote is kept and will be applied when it runs."
    )
