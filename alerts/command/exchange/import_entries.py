"""`leeside import --entries`: entries of the journal from lines of JSON; first what would come of it, then --write."""

from __future__ import annotations

__all__ = ["Reading", "brought_in", "import_entries"]

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from alerts.command.opened_cellar import open_journal
from alerts.view.format import counted, long_time
from ingest.cellar import Cellar
from ingest.errors import IngestError
from ingest.exchange.entry_lines import EntryLines, read_entry_lines
from ingest.journal.kinds import KINDS
from ingest.journal.merging import JournalMerge, Mistake
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.store.journal import entry_import

# A file that is something else altogether has as many mistakes as lines.
_SHOWN: Final = 50


def import_entries(
    file: Path, lines: Path, *, new_numbers: bool, write: bool, despite_warnings: bool, as_json: bool
) -> int:
    """Show what the file holds, and with ``write`` bring it in, all of it or nothing.

    Exit code 0 if each line is a new entry, a new strike, or there already; 1 if one cannot be, or there is none, or
    there is a warning and not ``despite_warnings``.
    """
    return brought_in(
        file, lines, _read, new_numbers=new_numbers, write=write, despite_warnings=despite_warnings, as_json=as_json
    )


Reading = Callable[[Path, Cellar, Store, int], EntryLines]
"""Reads entries from a file at a time (UTC ms)."""


def brought_in(
    file: Path,
    lines: Path,
    reading: Reading,
    *,
    new_numbers: bool,
    write: bool,
    despite_warnings: bool,
    as_json: bool,
) -> int:
    """Show what a file of entries in any form holds, and with ``write`` bring it in; exit codes as above."""
    now_ms = wall_ms()
    with open_journal(file, rehearse=not write) as (cellar, store):
        read = reading(lines, cellar, store, now_ms)
        rehearse = not write or bool(read.mistakes)
        merge = entry_import.import_entries(
            store,
            read.entries,
            cellar,
            now_ms,
            new_numbers=new_numbers,
            rehearse=rehearse,
            despite_warnings=despite_warnings,
        )
    merge.mistakes = sorted((*read.mistakes, *map(read.located, merge.mistakes)))
    merge.warnings = sorted(map(read.located, merge.warnings))
    held_up = bool(merge.warnings) and not despite_warnings
    if as_json:
        _print_json(lines, read, merge, written=write and not held_up)
    else:
        _print(lines, read, merge, cellar.site.zone, write=write, held_up=held_up)
    return 1 if merge.mistakes or not read.count or held_up else 0


def _read(lines: Path, cellar: Cellar, _: Store, now_ms: int) -> EntryLines:
    try:
        with lines.open("rb") as stream:
            return read_entry_lines(stream, cellar.site.zone, now_ms)
    except OSError as error:
        raise IngestError(f"{lines}: cannot be read: {error.strerror}") from error


def _print(lines: Path, read: EntryLines, merge: JournalMerge, zone: ZoneInfo, *, write: bool, held_up: bool) -> None:
    print(f"{lines}: {counted(read.count, 'row' if read.cells else 'line')}")
    if read.unread:
        print(f"  nothing is read from the columns {', '.join(read.unread)}")
    if merge.new:
        times = [new.entry.at_ms for new in merge.new]
        first, last = merge.new[0].entry.id, merge.new[-1].entry.id
        print(f"  {len(times):,} new, {long_time(min(times), zone)} to {long_time(max(times), zone)}")
        print(f"    no. {first}" + (f" to {last}" if last != first else "") + f": {_kinds(merge)}")
    for line, entry, strike in merge.strikes:
        print(f"  line {line} strikes {entry}, by {strike.who}: {strike.reason}")
    if merge.there:
        print(f"  {merge.there:,} {'is' if merge.there == 1 else 'are'} there already")
    _print_warnings(merge)
    if merge.mistakes:
        _print_mistakes(read, merge)
    elif not read.count:
        print("It holds no entries; nothing was written.")
    elif not merge.changes():
        print("Nothing is new; nothing was written.")
    elif held_up:
        print("Nothing was written: look at these lines again. If all is right, --despite-warnings brings them in.")
    elif write:
        parts = [counted(len(merge.new), "entry", "entries"), counted(len(merge.strikes), "strike")]
        brought = " and ".join(part for part in parts if not part.startswith("0 "))
        print(f"{brought} {'was' if len(merge.changes()) == 1 else 'were'} brought in.")
    else:
        print("Nothing was written yet; the same with --write brings them in.")


def _print_warnings(merge: JournalMerge) -> None:
    for line, warning in merge.warnings[:_SHOWN]:
        print(f"  line {line}: warning: {warning}")
    if len(merge.warnings) > _SHOWN:
        print(f"  and {len(merge.warnings) - _SHOWN:,} more warnings; --json lists them all")


def _print_mistakes(read: EntryLines, merge: JournalMerge) -> None:
    print("Not taken:")
    for line, why in merge.mistakes[:_SHOWN]:
        print(f"  line {line}: {why}")
    if len(merge.mistakes) > _SHOWN:
        print(f"  and {len(merge.mistakes) - _SHOWN:,} more; --json lists them all")
    if read.mistakes:
        print("What a line says that cannot be read is missing for the others, so correct such lines first.")
    if any("there already and says something else" in why for _, why in merge.mistakes):
        print("If the file is of another journal, --new-numbers gives its entries numbers of their own.")
    print("Nothing was written: all lines are brought in together, or none.")


def _kinds(merge: JournalMerge) -> str:
    counts = Counter(new.entry.kind for new in merge.new)
    struck = sum(new.entry.struck is not None for new in merge.new)
    text = ", ".join(f"{kind} {counts[kind]:,}" for kind in KINDS if counts[kind])
    return text + (f"; {struck:,} of them struck" if struck else "")


def _print_json(lines: Path, read: EntryLines, merge: JournalMerge, *, written: bool) -> None:
    out = {
        "file": str(lines),
        "written": written and not merge.mistakes and bool(merge.changes()),
        "lines": read.count,
        "new": [
            {"line": read.located(Mistake(new.line, "")).line, "id": new.entry.id, "kind": new.entry.kind}
            for new in merge.new
        ],
        "struck": [{"line": strike.line, "id": strike.entry.id} for strike in merge.strikes],
        "there_already": merge.there,
        "warnings": [{"line": line, "warning": text} for line, text in merge.warnings],
        "not_taken": [{"line": line, "reason": why} for line, why in merge.mistakes],
    }
    print(json_text(out, indent=1))
