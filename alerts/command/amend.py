"""`leeside amend`: replace an entry by a corrected one at the same time, in one step."""

from __future__ import annotations

__all__ = ["amend", "show_amendment"]

import inspect
import sys
import textwrap
from typing import Annotated, Any, Final

import typer

from alerts.command.enter import answer_parameter, answers_in, show_prepared
from alerts.command.entering.doubt import DespiteWarnings, may_write
from alerts.command.entering.entry_dialog import ask_time
from alerts.command.entering.refused_entry import WithLater, print_refusal, print_struck_along
from alerts.command.entering.titrations_again import Again, offer_again
from alerts.command.opened_cellar import open_cellar
from alerts.command.options import File, Json, Who, Yes, user_name
from alerts.command.terminal import Terminal, at_a_terminal
from alerts.command.wrong_options import wrong_options
from alerts.view.entries.journal_lines import entry_json, entry_lines
from ingest.amending import Amendment, prepare_amendment, write_amendment
from ingest.cellar import Cellar
from ingest.errors import EntryRefused
from ingest.journal.answers import AnswersWrong
from ingest.journal.kinds import KINDS
from ingest.journal.question import Question
from ingest.json_text import json_text
from ingest.process import wall_ms
from ingest.store.journal.entries import entry as entry_of_number
from ingest.times import Ambiguous

EXAMPLE: Final = "leeside amend cellar.toml 57 --volume '18.4 L'"


def _options_by_kind() -> str:
    """The options that an entry of each kind takes, in lines that help leaves as they are."""
    lines = [
        textwrap.fill(
            f"{kind.name}: {' '.join(question.option for question in kind.questions)}",
            76,
            initial_indent="  ",
            subsequent_indent="    ",
            break_on_hyphens=False,
        )
        for kind in KINDS.values()
        if kind.questions
    ]
    return "\n".join(("\b", "What can be changed, by kind of entry:", *lines))


def _all_questions() -> tuple[Question, ...]:
    """The questions of all kinds by name; of one that several kinds ask the first, since only its option is taken."""
    questions: dict[str, Question] = {}
    for kind in KINDS.values():
        for question in kind.questions:
            before = questions.setdefault(question.name, question)
            if question.many and not before.many:
                questions[question.name] = question
    return tuple(questions.values())


LISTED: Final = (_options_by_kind(),)
_QUESTIONS: Final = _all_questions()


def amend(
    file: File,
    entry_id: Annotated[int, typer.Argument(metavar="ID", min=1, help="The entry's number, as the journal shows it.")],
    without: Annotated[
        list[str] | None,
        typer.Option("--without", metavar="OPTION", help="Take an answer away, such as blank; may be repeated."),
    ] = None,
    at: Annotated[str | None, typer.Option("--at", metavar="TIME", help="When it really happened.")] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", metavar="TEXT", help="Why; it stays readable with the old entry.")
    ] = None,
    who: Who = None,
    with_later: WithLater = False,
    again: Again = False,
    despite_warnings: DespiteWarnings = False,
    yes: Yes = False,
    as_json: Json = False,
    **changed: Any,
) -> int:
    """Replace an entry by a corrected one at the same time. Give only what changes, with the options of `leeside enter`
    for its kind. The old entry stays readable, struck as amended.

    Without changes a titration is worked out again, with its bottle as the journal has it now. Exit code 1 if it cannot
    be, or if nothing would change.
    """
    now_ms = wall_ms()
    asking = at_a_terminal() and not yes
    terminal = Terminal(sys.stderr if as_json else sys.stdout)
    with open_cellar(file) as (cellar, store):
        old = entry_of_number(store, entry_id)
        try:
            if asking:
                at, _ = ask_time(terminal, at, cellar, now_ms)
            amendment = prepare_amendment(
                store,
                cellar,
                entry_id,
                answers_in(_QUESTIONS, changed),
                who=user_name() if who is None else who,
                now_ms=now_ms,
                without=[name.removeprefix("--").replace("-", "_") for name in without or ()],
                at=at,
                reason=reason or "",
                with_later=with_later,
            )
            show_amendment(terminal, cellar, amendment, now_ms)
            prepared = amendment.prepared
            asked = terminal if asking else None
            if not may_write(asked, prepared.words, prepared.warnings, despite_warnings=despite_warnings):
                return 1
            entry = write_amendment(store, cellar, amendment, now_ms=wall_ms(), with_later=with_later)
        except Ambiguous as error:
            raise typer.BadParameter(str(error), param_hint="--at") from error
        except AnswersWrong as error:
            if old is None:
                raise
            raise wrong_options(KINDS[old.kind], error) from error
        except EntryRefused as error:
            print_refusal(error, ", and the rest be amended")
            return 1
        if as_json:
            print(json_text(entry_json(entry)))
        else:
            print(f"{prepared.words}. Written as no. {entry.id}; no. {entry_id} is struck as amended.")
            print_struck_along(store, entry.id, entry_id)
        return offer_again(
            terminal,
            store,
            cellar,
            (amendment.old, entry),
            who=amendment.who,
            asking=asking,
            again=again,
            despite_warnings=despite_warnings,
        )


def show_amendment(terminal: Terminal, cellar: Cellar, amendment: Amendment, now_ms: int) -> None:
    """Show the entry as it was, and as it would be."""
    first, *more = entry_lines(amendment.old, cellar.site.zone, now_ms)
    for line in (f"was: {first}", *more):
        terminal.say(line)
    show_prepared(terminal, cellar, amendment.prepared, now_ms)


def _signature() -> inspect.Signature:
    """The signature with an option for each question of every kind; which of them suit the entry is judged later."""
    plain = inspect.signature(amend, eval_str=True)
    parameters = [each for each in plain.parameters.values() if each.kind is not inspect.Parameter.VAR_KEYWORD]
    options = [answer_parameter(question, hidden=True) for question in _QUESTIONS]
    common = [each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in parameters[2:]]
    return inspect.Signature([*parameters[:2], *options, *common])


amend.__signature__ = _signature()  # type: ignore[attr-defined]  # Typer reads it
amend.__annotations__ = {each.name: each.annotation for each in amend.__signature__.parameters.values()}  # type: ignore[attr-defined]
