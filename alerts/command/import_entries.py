"""`leeside import --entries`: entries of the journal from lines of JSON; first what would come of it, then --write."""

from __future__ import annotations

__all__ = ["import_entries"]

import json
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from alerts.command.opened_cellar import open_cellar
from alerts.view.format import long_time
from ingest.errors import IngestError
from ingest.exchange.entry_lines import EntryLines, read_entry_lines
from ingest.journal.kinds import KINDS
from ingest.journal.merging import JournalMerge, Mistake
from ingest.process import wall_ms
from ingest.store.journal import entry_import

# A file that is something else altogether has as many mistakes as lines.
_SHOWN: Final = 50


def import_entries(file: Path, lines: Path, *, new_numbers: bool, write: bool, as_json: bool) -> int:
    """Tell what the file holds, and with ``write`` bring it in, all of it or nothing.

    Exit code 0 if each line is a new entry, a new strike, or there already; 1 if one cannot be, or there is none.
    """
    now_ms = wall_ms()
    with open_cellar(file) as (cellar, store):
        read = _read(lines, cellar.site.zone, now_ms)
        rehearse = not write or bool(read.mistakes)
        taken = entry_import.import_entries(
            store, read.entries, cellar, now_ms, new_numbers=new_numbers, rehearse=rehearse
        )
    mistakes = sorted((*read.mistakes, *taken.mistakes))
    written = write and not mistakes and bool(taken.new or taken.strikes)
    if as_json:
        _print_json(lines, read, taken, mistakes, written=written)
    else:
        _print(lines, read, taken, mistakes, cellar.site.zone, write=write)
    return 1 if mistakes or not read.count else 0


def _read(lines: Path, zone: ZoneInfo, now_ms: int) -> EntryLines:
    try:
        with lines.open("rb") as stream:
            return read_entry_lines(stream, zone, now_ms)
    except OSError as error:
        raise IngestError(f"{lines}: cannot be read: {error.strerror}") from error


def _print(
    lines: Path, read: EntryLines, taken: JournalMerge, mistakes: Sequence[Mistake], zone: ZoneInfo, *, write: bool
) -> None:
    print(f"{lines}: {_counted(read.count, 'line')}")
    if taken.new:
        times = [one.entry.at_ms for one in taken.new]
        numbers = [one.entry.id for one in taken.new]
        print(f"  {len(times):,} new, {long_time(min(times), zone)} to {long_time(max(times), zone)}")
        print(f"    no. {numbers[0]}" + (f" to {numbers[-1]}" if len(numbers) > 1 else "") + f": {_kinds(taken)}")
    for line, entry, strike in taken.strikes:
        print(f"  line {line} strikes {entry}, by {strike.who}: {strike.reason}")
    if taken.there:
        print(f"  {taken.there:,} {'is' if taken.there == 1 else 'are'} there already")
    if mistakes:
        print("Not taken:")
        for line, why in mistakes[:_SHOWN]:
            print(f"  line {line}: {why}")
        if len(mistakes) > _SHOWN:
            print(f"  and {len(mistakes) - _SHOWN:,} more; --json tells them all")
        if read.mistakes:
            print("What a line says that cannot be read is missing for the others, so mend such lines first.")
        if any("there already and says something else" in why for _, why in mistakes):
            print("If the file is of another journal, --new-numbers gives its entries numbers of their own.")
        print("Nothing was written: all lines are brought in together, or none.")
    elif not read.count:
        print("It holds no entries; nothing was written.")
    elif not taken.new and not taken.strikes:
        print("Nothing is new; nothing was written.")
    elif write:
        print(f"{_told(taken)} brought in.")
    else:
        print("Nothing was written yet; the same with --write brings them in.")


def _kinds(taken: JournalMerge) -> str:
    counts = Counter(one.entry.kind for one in taken.new)
    struck = sum(one.entry.struck is not None for one in taken.new)
    text = ", ".join(f"{kind} {counts[kind]:,}" for kind in KINDS if counts[kind])
    return text + (f"; {struck:,} of them struck" if struck else "")


def _told(taken: JournalMerge) -> str:
    parts = []
    if taken.new:
        parts.append(f"{len(taken.new):,} {'entry' if len(taken.new) == 1 else 'entries'}")
    if taken.strikes:
        parts.append(_counted(len(taken.strikes), "strike"))
    one = len(taken.new) + len(taken.strikes) == 1
    return f"{' and '.join(parts)} {'was' if one else 'were'}"


def _counted(count: int, noun: str) -> str:
    return f"{count:,} {noun}" + ("" if count == 1 else "s")


def _print_json(
    lines: Path, read: EntryLines, taken: JournalMerge, mistakes: Sequence[Mistake], *, written: bool
) -> None:
    out = {
        "file": str(lines),
        "written": written,
        "lines": read.count,
        "new": [{"line": one.line, "id": one.entry.id, "kind": one.entry.kind} for one in taken.new],
        "struck": [{"line": one.line, "id": one.entry.id} for one in taken.strikes],
        "there_already": taken.there,
        "not_taken": [{"line": one.line, "reason": one.why} for one in mistakes],
    }
    json.dump(out, sys.stdout, indent=1, ensure_ascii=False)
    print()
