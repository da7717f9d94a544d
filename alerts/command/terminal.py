"""Asking a person at the terminal for what an entry still needs."""

from __future__ import annotations

__all__ = ["Terminal", "ask_entry", "ask_time", "at_a_terminal"]

import sys
from collections.abc import Callable, Sequence
from typing import Any, Final, TextIO

from alerts.errors import NotWritten
from ingest.cellar import Cellar
from ingest.entering import Prepared, answered, context_of, moment
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong, Choice, Clock, WrittenWords
from ingest.journal.drafting import last_answers, next_question, read_answers
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.question import Question
from ingest.store import Store
from ingest.times import Ambiguous

# So many wrong answers to one question end the call: there is nobody who reads what it says.
_TRIES: Final = 20
_END: Final = "-"


def at_a_terminal() -> bool:
    """Whether there is a person to ask."""
    return sys.stdin.isatty() and sys.stdout.isatty()


class Terminal:
    """Lines to and from a person. into: where questions are printed."""

    def __init__(self, into: TextIO) -> None:
        self._into = into

    def say(self, line: str) -> None:
        """Print a line."""
        print(line, file=self._into, flush=True)

    def ask(self, question: str, offered: str = "") -> str:
        """The answer, what is offered for an empty one. Raises NotWritten when there are no more answers."""
        print(f"{question} [{offered}] " if offered else f"{question} ", end="", file=self._into, flush=True)
        line = sys.stdin.readline()
        if not line:
            self.say("")
            raise NotWritten("Nothing was written.")
        return line.strip() or offered

    def agree(self, question: str) -> bool:
        """Whether the answer is yes, which an empty one is."""
        for _ in range(_TRIES):
            said = self.ask(f"{question} [Y/n]").lower()
            if said in ("", "y", "yes"):
                return True
            if said in ("n", "no"):
                return False
            self.say("y for yes, n for no")
        return False


def ask_entry(
    terminal: Terminal,
    store: Store,
    cellar: Cellar,
    kind: EntryKind[Any],
    told: dict[str, Sequence[str]],
    prepare: Callable[[], Prepared],
    *,
    now_ms: int,
    at_ms: int,
) -> Prepared:
    """Ask for what is missing, and again for what will not do, until the entry can be written.

    told: answers by question; what is asked for is added to it; prepare: makes the entry of them.
    """
    clock = Clock(cellar.site.zone, now_ms)
    context = context_of(store, cellar, kind.name, at_ms)
    offered = last_answers(kind, context.last)
    asked: list[str] = []
    for _ in range(_TRIES):
        _ask_missing(terminal, kind, told, offered, asked, clock)
        try:
            return prepare()
        except EntryRefused as error:
            if error.later or not asked:
                raise
            terminal.say(str(error))
            _offer_anew(terminal, kind, told, offered, asked)
        except AnswersWrong as error:
            for field, why in error.wrong:
                terminal.say(why)
                if kind.question(field) is None:
                    raise
                # It is asked for anew, and what is offered is no longer what was wrong.
                told.pop(field, None)
                offered.pop(field, None)
                if field in asked:
                    asked.remove(field)
                question = kind.question(field)
                if question is not None and not question.many:
                    _ask_one(terminal, question, told, offered, clock)
                    asked.append(field)
    raise NotWritten("Too many answers that will not do. Nothing was written.")


def _offer_anew(
    terminal: Terminal, kind: EntryKind[Any], told: dict[str, Sequence[str]], offered: dict[str, str], asked: list[str]
) -> None:
    """What was asked for is asked again, with what was answered on offer: an empty answer keeps it."""
    if kind.question("blend") is not None and "blend" not in told:
        said = terminal.ask("Is it a blend with the wine that is there? (y; empty: no)").lower()
        if said in ("y", "yes"):
            told["blend"] = ["yes"]
            return
    terminal.say("Once more; an empty answer keeps what is in brackets.")
    for name in asked:
        answers = told.pop(name, ())
        if answers:
            offered[name] = answers[0]
    asked.clear()


def _ask_missing(
    terminal: Terminal,
    kind: EntryKind[Any],
    told: dict[str, Sequence[str]],
    offered: dict[str, str],
    asked: list[str],
    clock: Clock,
) -> None:
    while True:
        question = next_question(kind, read_answers(kind, answered(told), clock), asked)
        if question is None:
            return
        needed = question.needed(read_answers(kind, answered(told), clock))
        for _ in range(_TRIES):
            _ask_one(terminal, question, told, offered, clock, needed=needed)
            if question.name in told or not needed:
                break
            # A stray Enter must not cost what was answered already.
            terminal.say("This one is needed; Ctrl-D ends without writing.")
        else:
            raise NotWritten(f"{question.option} is missing. Nothing was written.")
        asked.append(question.name)


def _hint(question: Question, needed: bool) -> str:
    """What an answer looks like, and that there may be none."""
    answer = question.answer
    example = answer.example if isinstance(answer, Choice) else f"such as {answer.example}"
    if answer == WrittenWords():
        # Any words will do: an example would only puzzle.
        example = ""
    parts = [part for part in (example, "" if needed else "or empty") if part]
    return f" ({', '.join(parts)})" if parts else ""


def _ask_one(
    terminal: Terminal,
    question: Question,
    told: dict[str, Sequence[str]],
    offered: dict[str, str],
    clock: Clock,
    *,
    needed: bool = True,
) -> None:
    """Ask until the answer can be read; an empty one leaves the question out."""
    answers: list[str] = []
    hint = _hint(question, needed)
    for _ in range(_TRIES):
        more = "Another one? (empty: no more)" if answers else question.ask + hint
        text = terminal.ask(more, "" if answers else offered.get(question.name, ""))
        if not text or text == _END:
            break
        try:
            question.answer.read(text, clock)
        except (ValueError, IngestError) as error:
            terminal.say(str(error))
            continue
        answers.append(text)
        if not question.many:
            break
    if answers:
        told[question.name] = answers


def ask_time(terminal: Terminal, at: str | None, cellar: Cellar, now_ms: int) -> tuple[str | None, int]:
    """The time as it was given, and in UTC ms; of two that it may mean the person says which."""
    try:
        return at, moment(at, cellar, now_ms)
    except Ambiguous as error:
        terminal.say(str(error))
        for _ in range(_TRIES):
            said = terminal.ask(f"1 for {error.ways[0]}, 2 for {error.ways[1]}:")
            if said in ("1", "2"):
                way = error.ways[int(said) - 1]
                return way, moment(way, cellar, now_ms)
        raise
