"""After a bottle of titrant was struck, amended or entered again: the titrations that used it, and an offer."""

from __future__ import annotations

__all__ = ["Again", "offer_again"]

from collections.abc import Iterable
from typing import Annotated

import typer

from alerts.command.terminal import Terminal
from alerts.view.format import local_time
from ingest.cellar import Cellar
from ingest.journal.entry import Entry
from ingest.journal.kinds import body_words
from ingest.journal.titrant_bottles import TitrantBody
from ingest.process import wall_ms
from ingest.store import Store
from ingest.titrations_again import Outdated, outdated_titrations, write_again

Again = Annotated[
    bool, typer.Option("--again", help="Of a bottle of titrant: work out again the titrations that used it.")
]


def offer_again(
    terminal: Terminal,
    store: Store,
    cellar: Cellar,
    changed: Iterable[Entry],
    *,
    who: str,
    asking: bool,
    again: bool,
    despite_warnings: bool = False,
) -> int:
    """List the titrations that used bottles of these entries with another strength; if wished, work them out again.

    Each that changes is amended, all of them or none. Exit code 1 if that was wished and could not be done.
    """
    names = {entry.body.name for entry in changed if isinstance(entry.body, TitrantBody)}
    now_ms = wall_ms()
    outdated = outdated_titrations(store, cellar, names, who=who, now_ms=now_ms) if names else []
    if not outdated:
        return 0
    terminal.say(f"With another strength of {', '.join(sorted(names))} were worked out:")
    for each in outdated:
        for line in _lines(each, cellar, now_ms):
            terminal.say(line)
    ready = [each for each in outdated if each.again is not None]
    if not ready:
        return 1 if again else 0
    if asking and not again:
        again = terminal.agree("Work them out again? Each becomes an amended entry.", empty_is_yes=False)
    if not again:
        numbers = ", ".join(str(each.entry.id) for each in ready)
        terminal.say(f"They stay as they are. `leeside amend` with the number works one out again: {numbers}.")
        return 0
    warned = any(each.again.prepared.warnings for each in ready if each.again is not None)
    if warned and not asking and not despite_warnings:
        terminal.say("None was worked out again: look at the warnings. `leeside amend --despite-warnings` writes each.")
        return 1
    written = write_again(store, cellar, ready, now_ms=now_ms)
    numbers = ", ".join(f"no. {entry.id}" for entry in written)
    terminal.say(f"Worked out again as {numbers}.")
    return 0


def _lines(outdated: Outdated, cellar: Cellar, now_ms: int) -> list[str]:
    entry = outdated.entry
    head = f"  no. {entry.id} {entry.where}, {local_time(entry.at_ms, cellar.site.zone, now_ms)}"
    if outdated.again is None:
        return [f"{head}: {body_words(entry.body)}; it cannot be worked out again: {outdated.why}"]
    lines = [f"{head}: {body_words(entry.body)}", f"    now {outdated.again.prepared.words}"]
    return lines + [f"    warning: {warning}" for warning in outdated.again.prepared.warnings]
