"""The ``leeside`` command: what each command takes. The work is in the file named after it.

Exit codes: 0 yes or done; 1 the answer is no, or something is wrong in the cellar; 2 the call is wrong.
"""

from __future__ import annotations

__all__ = ["app", "main"]

import sqlite3
import sys
from pathlib import Path
from typing import Annotated

import typer

from alerts.command.late_groups import LateGroups
from alerts.errors import AlertsError
from ingest.errors import CellarFileError, IngestError

app = typer.Typer(
    name="leeside",
    cls=LateGroups,
    help="Keeps watch over wine that rests in small vessels under inert gas.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

File = Annotated[Path, typer.Argument(metavar="FILE", help="The cellar file.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]


@app.command(epilog="Example: leeside demo --for 90s")
def demo(
    duration: Annotated[
        str | None, typer.Option("--for", metavar="SPAN", help="End by itself after this long, such as 90s.")
    ] = None,
    folder: Annotated[
        Path | None,
        typer.Option("--folder", help="Keep the demo's store and cellar file here, in a new or empty folder."),
    ] = None,
    days: Annotated[int, typer.Option(min=1, max=90, help="Days of past readings to bring in.")] = 30,
) -> None:
    """A simulated cellar through the real path: broker, serial line, store, alarm, message, page."""
    from alerts.command.demo import run_demo

    raise typer.Exit(run_demo(duration, folder, days))


@app.command(epilog="Example: leeside check cellar.toml")
def check(
    file: File,
    json: Json = False,
    live: Annotated[
        bool, typer.Option("--live", help="Also try broker, topics, serial lines, chips, mail server and mirror.")
    ] = False,
    store: Annotated[bool, typer.Option("--store", help="Also have the whole store checked for damage.")] = False,
) -> None:
    """Everything that is wrong in a cellar file; where nothing is, the limits that would be watched."""
    from alerts.command.check import run_check

    raise typer.Exit(run_check(file, json, live=live, with_store=store))


@app.command(epilog="Example: leeside listen cellar.toml --topic 'cellar/#' --for 60s")
def listen(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="The cellar file; --ports needs none.")] = None,
    ports: Annotated[
        bool, typer.Option("--ports", help="Show the serial devices of this machine, by their lasting names.")
    ] = False,
    topic: Annotated[
        list[str] | None,
        typer.Option("--topic", metavar="FILTER", help="Listen to these topics only; may be given several times."),
    ] = None,
    duration: Annotated[
        str | None, typer.Option("--for", metavar="SPAN", help="End by itself after this long, such as 60s.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print one JSON object a line.")] = False,
) -> None:
    """Samples as they arrive and what the probes make of them, with proposals for what no probe takes."""
    from alerts.command.listen import run_listen

    raise typer.Exit(run_listen(file, ports=ports, topics=topic or (), duration=duration, as_json=json))


@app.command(epilog="Example: leeside run cellar.toml")
def run(
    file: File,
    only: Annotated[
        str | None, typer.Option("--only", metavar="ROLE", help="Run one daemon only: ingest or alerts.")
    ] = None,
) -> None:
    """Run the watch: both daemons and the page, until stopped."""
    from alerts.command.run import run_watch

    raise typer.Exit(run_watch(file, only))


@app.command(epilog="Example: leeside now cellar.toml")
def now(file: File, json: Json = False) -> None:
    """Every place as it stands. Exit code 1 while an alarm stands or a probe or daemon is silent."""
    from alerts.command.now import run_now

    raise typer.Exit(run_now(file, json))


@app.command(epilog="Example: leeside history cellar.toml --lot malvasia-2026 --quantity free_so2 --csv")
def history(
    file: File,
    probe: Annotated[
        str | None, typer.Argument(metavar="PROBE", help="A probe's id; or name a lot or a place.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", help="A lot, through the vessels where it lay; with --quantity.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", help="A vessel, cylinder or room; with --quantity.")] = None,
    quantity: Annotated[
        str | None, typer.Option("--quantity", help="What was read or found, such as temperature or free_so2.")
    ] = None,
    share: Annotated[
        float | None,
        typer.Option("--share", help="Only where the lot is at least this part of the wine, such as 0.5."),
    ] = None,
    struck: Annotated[bool, typer.Option("--struck", help="Results of struck entries as well.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Print a table with a row for each reading or result.")] = False,
    json: Json = False,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="From this time on: a date, or date and time.")
    ] = None,
    until: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Up to, not including, this time.")] = None,
) -> None:
    """Readings of a probe; or readings and results by hand of a lot wherever it lay, or at a place. Oldest first."""
    if probe is None and (lot is not None or place is not None):
        from alerts.command.history_of import HistoryRequest, run_history_of

        asked = HistoryRequest(lot, place, quantity, share, since, until, struck)
        raise typer.Exit(run_history_of(file, asked, as_csv=csv, as_json=json))
    if probe is None:
        raise typer.BadParameter("name a probe, or --lot or --place with --quantity")
    if struck or (lot, place, quantity, share) != (None, None, None, None):
        raise typer.BadParameter("--lot, --place, --quantity, --share and --struck go without a PROBE")
    from alerts.command.history import run_history

    raise typer.Exit(run_history(file, probe, csv=csv, as_json=json, since=since, until=until))


@app.command(
    name="import",
    epilog="Example: leeside import cellar.toml logger.csv --probe k1-temperature --at Time --value Temp --unit degF",
)
def import_(
    file: File,
    table: Annotated[
        Path,
        typer.Argument(
            metavar="DATA", help="A table of text (CSV) with times and values; with --entries, lines of JSON."
        ),
    ],
    probe: Annotated[str | None, typer.Option("--probe", help="Whose readings these are: the probe's id.")] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="COLUMN", help="The column of the times.")] = None,
    value: Annotated[str | None, typer.Option("--value", metavar="COLUMN", help="The column of the values.")] = None,
    map_: Annotated[
        str | None,
        typer.Option("--map", metavar="PAIRS", help="Instead of --probe and --value: 'probe=column,probe=column'."),
    ] = None,
    unit: Annotated[
        str | None, typer.Option("--unit", help="The unit of the values; without it they are as the probe sends them.")
    ] = None,
    zone: Annotated[
        str | None, typer.Option("--zone", help="Of times that name no zone; by default that of the site.")
    ] = None,
    decimal: Annotated[str, typer.Option("--decimal", help="The decimal mark: . or ,")] = ".",
    delimiter: Annotated[str, typer.Option("--delimiter", help="What parts the columns: one character, or tab.")] = ",",
    entries: Annotated[
        bool, typer.Option("--entries", help="Entries of the journal, as `leeside export --entries` writes them.")
    ] = False,
    new_numbers: Annotated[
        bool,
        typer.Option("--new-numbers", help="The entries are of another journal: give them numbers of their own here."),
    ] = False,
    write: Annotated[
        bool, typer.Option("--write", help="Bring it in; without it is only shown what would come of it.")
    ] = False,
    json: Json = False,
) -> None:
    """Readings or entries of the past: first what would be taken and what not, with --write for good."""
    from alerts.command.import_readings import Wanted, run_import

    wanted = Wanted(probe, at, value, map_, unit, zone, decimal, delimiter)
    if entries:
        from alerts.command.import_entries import run_entry_import

        wanted.refuse_any()
        raise typer.Exit(run_entry_import(file, table, new_numbers=new_numbers, write=write, as_json=json))
    if new_numbers:
        raise typer.BadParameter("is about entries of the journal; add --entries", param_hint="--new-numbers")
    raise typer.Exit(run_import(file, table, wanted, write=write, as_json=json))


@app.command(epilog="Example: leeside export cellar.toml k1-pressure --csv --from 2026-11-01 --output november.csv")
def export(
    file: File,
    probes: Annotated[
        list[str] | None, typer.Argument(metavar="[PROBE]...", help="Of these probes; by default of all.")
    ] = None,
    csv: Annotated[
        bool, typer.Option("--csv", help="As at,probe,place,quantity,value,unit,quality; so it is by default.")
    ] = False,
    senml: Annotated[bool, typer.Option("--senml", help="As SenML packs in JSON, one a line.")] = False,
    entries: Annotated[
        bool,
        typer.Option("--entries", help="The journal instead: an entry a line as JSON; with --csv as a table."),
    ] = False,
    vessel: Annotated[
        str | None, typer.Option("--vessel", metavar="ID", help="Entries of this vessel, cylinder or room.")
    ] = None,
    lot: Annotated[
        str | None,
        typer.Option("--lot", metavar="ID", help="Entries of this lot, and of vessels while it was in them."),
    ] = None,
    kind: Annotated[
        list[str] | None,
        typer.Option("--kind", metavar="KIND", help="Entries of this kind; may be given several times."),
    ] = None,
    without_struck: Annotated[
        bool, typer.Option("--without-struck", help="Leave entries out that were struck.")
    ] = False,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="From this time on: a date, or date and time.")
    ] = None,
    until: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Up to, not including, this time.")] = None,
    output: Annotated[
        Path | None, typer.Option("--output", metavar="PATH", help="Into this file instead of standard output.")
    ] = None,
) -> None:
    """Readings, or entries of the journal, in a form that other programs take. Exit code 1 if there are none."""
    from alerts.command.export_entries import WantedEntries, run_entry_export

    wanted = WantedEntries(vessel, lot, kind or (), without_struck)
    if entries:
        if probes:
            raise typer.BadParameter("an entry is of no probe; leave it out with --entries", param_hint="PROBE")
        if senml:
            raise typer.BadParameter("SenML is for readings; leave it out with --entries", param_hint="--senml")
        raise typer.Exit(run_entry_export(file, wanted, csv=csv, since=since, until=until, output=output))
    wanted.refuse_any()
    from alerts.command.export import run_export

    raise typer.Exit(run_export(file, probes or (), csv=csv, senml=senml, since=since, until=until, output=output))


@app.command(epilog="Example: leeside backup cellar.toml --to /media/stick")
def backup(
    file: File,
    to: Annotated[
        Path | None,
        typer.Option("--to", metavar="PATH", help="Into this folder; without it into that of [backup], or backups."),
    ] = None,
    gently: Annotated[
        bool, typer.Option("--gently", help="Let all else on the machine go first, as the daily backup does.")
    ] = False,
    json: Json = False,
) -> None:
    """Back the store up into one checked file, also while leeside runs."""
    from alerts.command.backup import run_backup

    raise typer.Exit(run_backup(file, to, as_json=json, gently=gently))


@app.command(epilog="Example: leeside restore cellar.toml backups/cellar-20261125T023000Z.tar.gz --replace")
def restore(
    file: File,
    archive: Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The backup.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="There is a store already: put it aside under another name.")
    ] = False,
    json: Json = False,
) -> None:
    """Make the store of a backup the cellar's store, while leeside is stopped."""
    from alerts.command.backup import run_restore

    raise typer.Exit(run_restore(file, archive, replace=replace, as_json=json))


@app.command(epilog="Example: leeside alarms cellar.toml")
def alarms(
    file: File,
    all_: Annotated[bool, typer.Option("--all", help="Also what has closed: the whole alarm journal.")] = False,
    json: Json = False,
) -> None:
    """The alarms that stand, most urgent first. Exit code 1 while there is one."""
    from alerts.command.alarms import run_alarms

    raise typer.Exit(run_alarms(file, everything=all_, as_json=json))


@app.command(epilog="Example: leeside acknowledge cellar.toml 7f3k --note 'on my way'")
def acknowledge(
    file: File,
    alarm: Annotated[str, typer.Argument(metavar="ALARM", help="The alarm's short id, or its limit's key.")],
    who: Annotated[str | None, typer.Option("--who", help="Who has seen it; by default the user's name.")] = None,
    note: Annotated[str, typer.Option("--note", help="A remark for the alarm journal.")] = "",
) -> None:
    """Say that an alarm has been seen. It changes nothing in the cellar."""
    from alerts.command.acknowledge import run_acknowledge

    raise typer.Exit(run_acknowledge(file, alarm, who, note))


@app.command(epilog="Example: leeside strike cellar.toml 17 --reason 'read the burette from the wrong end'")
def strike(
    file: File,
    entry: Annotated[int, typer.Argument(metavar="ID", min=1, help="The entry's number, as the journal shows it.")],
    reason: Annotated[
        str | None,
        typer.Option("--reason", metavar="TEXT", help="Why; it stays readable with the entry. A terminal asks for it."),
    ] = None,
    who: Annotated[
        str | None, typer.Option("--who", metavar="NAME", help="Who strikes it; by default the user's name.")
    ] = None,
    with_later: Annotated[
        bool, typer.Option("--with-later", help="Strike later entries as well that could then no longer be.")
    ] = False,
    json: Json = False,
) -> None:
    """Cross an entry out, with a reason. It stays readable, and what follows from it is worked out anew."""
    from alerts.command.strike import run_strike

    raise typer.Exit(run_strike(file, entry, reason, who, with_later=with_later, as_json=json))


@app.command(epilog="Example: leeside journal cellar.toml --vessel K1 --from 2026-11-01")
def journal(
    file: File,
    vessel: Annotated[
        str | None, typer.Option("--vessel", metavar="ID", help="Of this vessel, cylinder or room.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", metavar="ID", help="Of this lot, and of vessels while it was in them.")
    ] = None,
    kind: Annotated[
        list[str] | None, typer.Option("--kind", metavar="KIND", help="Of this kind; may be given several times.")
    ] = None,
    since: Annotated[
        str | None, typer.Option("--from", metavar="TIME", help="From this time on: a date, or date and time.")
    ] = None,
    until: Annotated[str | None, typer.Option("--to", metavar="TIME", help="Up to, not including, this time.")] = None,
    struck: Annotated[bool, typer.Option("--struck", help="Only entries that were struck.")] = False,
    json: Json = False,
) -> None:
    """What was written down, oldest first, and what vessels hold by it. Exit code 1 if there is no such entry."""
    from alerts.command.journal import JournalRequest, run_journal

    raise typer.Exit(run_journal(file, JournalRequest(vessel, lot, kind or [], since, until, struck), as_json=json))


def main() -> None:
    """Entry point: errors of ours become one clear message and an exit code, never a traceback."""
    try:
        app()
    except CellarFileError as error:
        for problem in error.problems:
            print(f"{error.file}: {problem}", file=sys.stderr)
        sys.exit(1)
    except (IngestError, AlertsError) as error:
        print(error, file=sys.stderr)
        sys.exit(1)
    except sqlite3.Error as error:
        # A page that is damaged shows only when it is read.
        print(f"the store cannot be read ({error}); `leeside check FILE --store` says more", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        # The reader of our output (head, less) has seen enough.
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    main()
