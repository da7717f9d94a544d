"""`leeside strike`: cross an entry out, with a reason; it stays readable."""

from __future__ import annotations

__all__ = ["strike"]

import sys
from pathlib import Path
from typing import Annotated, Final

import typer

from alerts.command.entering.refused_entry import WithLater, print_refusal
from alerts.command.entering.titrations_again import Again, offer_again
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, user_name
from alerts.command.terminal import Terminal, at_a_terminal
from alerts.errors import NotWritten
from alerts.view.entries.journal_lines import entry_json, entry_lines
from ingest.errors import EntryRefused
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store.journal import entries

EXAMPLE: Final = "leeside strike cellar.toml 17 --reason 'read the burette from the wrong end'"


def strike(
    file: File,
    entry_id: Annotated[int, typer.Argument(metavar="ID", min=1, help="The entry's number, as the journal shows it.")],
    reason: Annotated[
        str | None,
        typer.Option("--reason", metavar="TEXT", help="Why; it stays readable with the entry. A terminal asks for it."),
    ] = None,
    who: Who = None,
    with_later: WithLater = False,
    again: Again = False,
    as_json: Json = False,
) -> int:
    """Cross an entry out, with a reason. It stays readable, and what follows from it is worked out again.

    Exit code 1 if it cannot be struck.
    """
    if reason is None and at_a_terminal():
        reason = _ask_reason(file, entry_id)
    if reason is None or not reason.strip():
        raise typer.BadParameter("say why; the entry stays readable with it", param_hint="--reason")
    if who is not None and not who.strip():
        raise typer.BadParameter("say who strikes it, or leave it out", param_hint="--who")
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        try:
            struck = entries.strike(store, entry_id, who or user_name(), reason, now_ms, with_later=with_later)
        except EntryRefused as error:
            print_refusal(error, " together with it")
            return 1
        if as_json:
            print(json_text([entry_json(entry) for entry in struck], indent=2))
        else:
            for entry in struck:
                for line in entry_lines(entry, cellar.site.zone, now_ms):
                    print(line)
        asking = at_a_terminal() and not as_json
        terminal = Terminal(sys.stderr if as_json else sys.stdout)
        return offer_again(terminal, store, cellar, struck, who=who or user_name(), asking=asking, again=again)


def _ask_reason(file: Path, entry_id: int) -> str:
    """Show the entry and ask why it is to be struck. Raises NotWritten for no answer."""
    terminal = Terminal(sys.stderr)
    with open_cellar(file) as (cellar, store):
        entry = entries.entry(store, entry_id)
        for line in () if entry is None else entry_lines(entry, cellar.site.zone, wall_ms()):
            terminal.say(line)
    reason = terminal.ask("Why is it to be struck? (empty: leave it)")
    if not reason:
        raise NotWritten("Nothing was struck.")
    return reason
