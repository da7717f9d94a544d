"""`leeside enter titration --several`: a day of titrations, written together or not at all."""

from __future__ import annotations

__all__ = ["run_several"]

import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import typer

from alerts.command.entering.doubt import may_write
from alerts.command.entering.entry_dialog import ask_answers, ask_time
from alerts.command.opened_cellar import open_journal
from alerts.command.options import user_name
from alerts.command.terminal import Terminal, at_a_terminal
from alerts.command.wrong_options import wrong_options
from alerts.errors import NotWritten
from alerts.view.entries.choices import choices
from alerts.view.entries.journal_lines import entry_json
from alerts.view.entries.titration_row import titration_row
from alerts.view.format import counted
from ingest.cellar import Cellar
from ingest.entering import Prepared, context_of, moment
from ingest.entering_several import COMMON, prepare_line, write_several
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong, Clock
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.kinds.titration import TITRATION
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store import Store
from ingest.times import Ambiguous

_KIND: Final[EntryKind[Any]] = replace(
    TITRATION, questions=tuple(question for question in TITRATION.questions if question.name in COMMON)
)
_STDIN: Final = "-"


def run_several(
    file: Path,
    answers: dict[str, Sequence[str]],
    lines: str | None,
    *,
    at: str | None,
    who: str | None,
    yes: bool,
    despite_warnings: bool,
    as_json: bool,
) -> int:
    """Exit code 0 when all of them are written, 1 when none is."""
    stray = [name for name in answers if name not in COMMON]
    if stray:
        options = ", ".join("--" + name.replace("_", "-") for name in stray)
        raise typer.BadParameter("is of one wine; with --several it stands in its line", param_hint=options)
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes and lines is None
    if not asking and lines is None:
        raise typer.BadParameter("give the lines as a file, or as - for standard input", param_hint="--lines")
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    name = user_name() if who is None else who
    try:
        with open_journal(file) as (cellar, store):
            if asking:
                at, at_ms = ask_time(terminal, at, cellar, now_ms)
                ask_answers(terminal, store, cellar, _KIND, answers, now_ms=now_ms, at_ms=at_ms)
            else:
                moment(at, cellar, now_ms)
            session = _Session(terminal, store, cellar, answers, name, now_ms, at)
            prepared = session.asked() if asking else session.read(lines or _STDIN)
            if not prepared:
                raise NotWritten("There was no line. Nothing was written.")
            _show(terminal, prepared)
            warnings = [warning for each in prepared for warning in each.warnings]
            words = f"{counted(len(prepared), 'titration')} of {', '.join(each.draft.where for each in prepared)}"
            if not may_write(terminal if asking else None, words, warnings, despite_warnings=despite_warnings):
                return 1
            written = write_several(store, cellar, [each.draft for each in prepared], now_ms=wall_ms())
    except Ambiguous as error:
        raise typer.BadParameter(str(error), param_hint="--at") from error
    except AnswersWrong as error:
        raise wrong_options(TITRATION, error) from error
    except EntryRefused as error:
        print(error, file=sys.stderr)
        return 1
    if as_json:
        print(json_text([entry_json(entry) for entry in written], indent=2))
    else:
        numbers = ", ".join(str(entry.id) for entry in written)
        print(f"Written as no. {numbers}.")
    return 0


class _Session:
    """The lines of a day: typed by a person, or from a file."""

    def __init__(
        self,
        terminal: Terminal,
        store: Store,
        cellar: Cellar,
        common: Mapping[str, Sequence[str]],
        who: str,
        now_ms: int,
        at: str | None,
    ) -> None:
        self._terminal = terminal
        self._store = store
        self._cellar = cellar
        self._common = common
        self._who = who
        self._now_ms = now_ms
        self._at = at

    def asked(self) -> list[Prepared]:
        """Ask for one line after the other; what will not do is asked again, and a wine that comes again replaces."""
        context = context_of(self._store, self._cellar, TITRATION.name, self._now_ms)
        clock = Clock(self._cellar.site.zone, self._now_ms)
        for choice in (*choices("vessel", context, clock), *choices("lot", context, clock)):
            self._terminal.say(f"  {choice.line}")
        unit = "mg/L" if self._common.get("method") == ["elsewhere"] else "mL"
        found: dict[str, Prepared] = {}
        while text := self._terminal.ask(f"Vessel or lot, and {unit} (such as K1 1.25; empty: no more)"):
            try:
                prepared = self._prepared(text)
            except AnswersWrong as error:
                if any(wrong.field in COMMON for wrong in error.wrong):
                    raise  # no line would do
                for wrong in error.wrong:
                    self._terminal.say(wrong.why)
                continue
            except IngestError as error:
                self._terminal.say(str(error))
                continue
            if prepared.draft.where in found:
                self._terminal.say(f"{prepared.draft.where} was there already; this takes its place.")
            found[prepared.draft.where] = prepared
            self._terminal.say(f"  {prepared.draft.where}: {prepared.words}")
            for warning in prepared.warnings:
                self._terminal.say(f"  warning: {warning}")
        return list(found.values())

    def read(self, path: str) -> list[Prepared]:
        """Read all lines, and give every mistake with its line. Raises IngestError."""
        found: dict[str, Prepared] = {}
        mistakes = []
        for number, text in _numbered(path):
            try:
                prepared = self._prepared(text)
                if prepared.draft.where in found:
                    raise IngestError(f"{prepared.draft.where} is there already; write all its flasks in one line")
                found[prepared.draft.where] = prepared
            except AnswersWrong as error:
                own = [wrong.why for wrong in error.wrong if wrong.field not in COMMON]
                if not own:
                    raise
                mistakes += [f"line {number}: {why}" for why in own]
            except IngestError as error:
                mistakes.append(f"line {number}: {error}")
        if mistakes:
            raise IngestError("\n".join((*mistakes, "Nothing was written: all lines are written together, or none.")))
        return list(found.values())

    def _prepared(self, text: str) -> Prepared:
        return prepare_line(
            self._store, self._cellar, self._common, text, who=self._who, now_ms=self._now_ms, at=self._at
        )


def _numbered(path: str) -> Iterator[tuple[int, str]]:
    """The lines of a file that are neither empty nor a remark (#), with their numbers."""
    try:
        text = sys.stdin.read() if path == _STDIN else Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise IngestError(f"{path}: cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise IngestError(f"{path}: is not UTF-8 text; save the file as UTF-8") from error
    for number, line in enumerate(text.splitlines(), start=1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line


def _show(terminal: Terminal, prepared: Sequence[Prepared]) -> None:
    """Print the table of results, cautions once, then what speaks against single ones."""
    for caution in dict.fromkeys(each.caution for each in prepared if each.caution):
        terminal.say(f"Caution: {caution}.")
    rows: list[tuple[str, ...]] = [("wine", "titres", "found", "standard uncertainty")]
    rows += [titration_row(each.draft, each.words) for each in prepared]
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        terminal.say("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    for each in prepared:
        for warning in each.warnings:
            terminal.say(f"warning: {each.draft.where}: {warning}")
    for note in dict.fromkeys(note for each in prepared for note in each.notes):
        terminal.say(f"note: {note}")
