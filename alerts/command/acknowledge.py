"""`leeside acknowledge`: append the event, and wait for the turn that applies it."""

from __future__ import annotations

__all__ = ["acknowledge"]

import time
from typing import Annotated, Final

import typer

from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Who, user_name
from alerts.command.terminal import print_plain
from alerts.errors import NoAnswer
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.alarms.operator_events import append_event, outcome_of
from ingest.store.pulse_rows import pulses

EXAMPLE: Final = "leeside acknowledge cellar.toml 7f3k --note 'on my way'"

WAIT_S = 3.0
LOOK_EVERY_S = 0.05


def acknowledge(
    file: File,
    alarm: Annotated[str, typer.Argument(metavar="ALARM", help="The alarm's short id, or its limit's key.")],
    who: Who = None,
    note: Annotated[str, typer.Option("--note", help="A remark for the alarm record.")] = "",
) -> int:
    """Say that an alarm has been seen. It changes nothing in the cellar.

    Exit code 1 if there was nothing to acknowledge, or leeside is not running.
    """
    with open_cellar(file) as (_, store):
        event = append_event(store, "acknowledge", alarm, who or user_name(), note, wall_ms())
        outcome = _await_outcome(store, event)
    print_plain(outcome)
    return 0 if outcome.startswith("acknowledged") else 1


def _await_outcome(store: Store, event: int) -> str:
    deadline = time.monotonic() + WAIT_S
    while time.monotonic() < deadline:
        outcome = outcome_of(store, event)
        if outcome is not None:
            return outcome
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
