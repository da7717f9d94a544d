"""Asking a person at the terminal for what an entry still needs."""

from __future__ import annotations

__all__ = ["ask_answers", "ask_entry", "ask_time"]

from collections.abc import Callable, Sequence
from typing import Any, Final

from alerts.command.terminal import MOST_TRIES, Terminal
from alerts.errors import NotWritten
from alerts.view.entries.choices import choices
from alerts.view.entries.entry_form import example_hint, likely_answer
from ingest.cellar import Cellar
from ingest.entering import Prepared, answered, context_of, moment
from ingest.errors import EntryRefused, IngestError
from ingest.journal.answers import AnswersWrong, Clock, each_answer
from ingest.journal.drafting import last_answers, next_question, offered_answer, read_answers
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.question import Given, Question
from ingest.store import Store
from ingest.times import Ambiguous

_NO_ANSWER: Final = "-"


def ask_entry(
    terminal: Terminal,
    store: Store,
    cellar: Cellar,
    kind: EntryKind[Any],
    answers: dict[str, Sequence[str]],
    prepare: Callable[[], Prepared],
    *,
    now_ms: int,
    at_ms: int,
) -> Prepared:
    """Ask for what is missing, and again for what will not do, until the entry can be written.

    answers: by question; what the person answers is added. prepare: makes the entry of them.
    """
    context = context_of(store, cellar, kind.name, at_ms)
    clock = Clock(cellar.site.zone, now_ms)
    return _EntryDialog(terminal, kind, answers, context, clock, at_ms).ask_until(prepare)


def ask_answers(
    terminal: Terminal,
    store: Store,
    cellar: Cellar,
    kind: EntryKind[Any],
    answers: dict[str, Sequence[str]],
    *,
    now_ms: int,
    at_ms: int,
) -> None:
    """Ask for what a kind's questions still need, of which no entry is made yet; what is answered is added."""
    context = context_of(store, cellar, kind.name, at_ms)
    _EntryDialog(terminal, kind, answers, context, Clock(cellar.site.zone, now_ms), at_ms).ask_missing()


def ask_time(terminal: Terminal, at: str | None, cellar: Cellar, now_ms: int) -> tuple[str | None, int]:
    """Return the time as it was given, and in UTC ms; of two that it may mean, the person says which."""
    try:
        return at, moment(at, cellar, now_ms)
    except Ambiguous as error:
        terminal.say(str(error))
        for _ in range(MOST_TRIES):
            answer = terminal.ask(f"1 for {error.ways[0]}, 2 for {error.ways[1]}:")
            if answer in ("1", "2"):
                way = error.ways[int(answer) - 1]
                return way, moment(way, cellar, now_ms)
        raise


class _EntryDialog:
    """The questions of one entry."""

    def __init__(
        self,
        terminal: Terminal,
        kind: EntryKind[Any],
        answers: dict[str, Sequence[str]],
        context: EntryContext,
        clock: Clock,
        at_ms: int,
    ) -> None:
        self._terminal = terminal
        self._kind = kind
        self._answers = answers
        # What an empty answer stands for, by question.
        self._offered = last_answers(kind, context.last)
        # The answers to a question that takes several, by what stands for them there.
        self._kept: dict[str, list[str]] = {}
        self._context = context
        self._at_ms = at_ms
        self._clock = clock
        self._asked: list[str] = []

    def ask_until(self, prepare: Callable[[], Prepared]) -> Prepared:
        """Ask until the entry can be prepared."""
        for _ in range(MOST_TRIES):
            self.ask_missing()
            try:
                return prepare()
            except EntryRefused as error:
                if error.later or not self._asked:
                    raise
                self._terminal.say(str(error))
                self._offer_answers(of_blend="is a blend" in str(error))
            except AnswersWrong as error:
                asked_about = [(self._kind.question(name), why) for name, why in error.wrong]
                if any(question is None for question, _ in asked_about):
                    raise  # about what no question asks, such as --at
                for question, why in asked_about:
                    assert question is not None
                    self._terminal.say(why)
                    self._ask_again(question)
        raise NotWritten("Too many answers that will not do. Nothing was written.")

    def ask_missing(self) -> None:
        """Ask what must be answered, and what a person may be asked, and is not answered yet."""
        while True:
            values = read_answers(self._kind, answered(self._answers), self._clock)
            question = next_question(self._kind, values, self._asked)
            if question is None:
                return
            needed = question.needed(values)
            self._offer_known(question, values)
            for choice in choices(question.name, self._context, self._clock):
                self._terminal.say(f"  {choice.line}")
            for _ in range(MOST_TRIES):
                self._ask(question, needed=needed)
                if question.name in self._answers or not needed:
                    break
                # A stray Enter must not cost what was answered already.
                self._terminal.say("This one is needed; Ctrl-D ends without writing.")
            else:
                raise NotWritten(f"{question.option} is missing. Nothing was written.")
            self._asked.append(question.name)

    def _offer_known(self, question: Question, values: Given) -> None:
        """Offer the answer that holds already rather than last time's."""
        offered = offered_answer(self._kind, question, values, self._context, self._at_ms, self._offered)
        if offered:
            self._offered[question.name] = offered
        else:
            self._offered.pop(question.name, None)

    def _ask_again(self, question: Question) -> None:
        """Ask once more for what was wrong, which is no longer offered."""
        self._answers.pop(question.name, None)
        self._offered.pop(question.name, None)
        if question.name in self._asked:
            self._asked.remove(question.name)
        if not question.many:
            self._ask(question)
            self._asked.append(question.name)

    def _offer_answers(self, *, of_blend: bool) -> None:
        """Let all questions be asked again, and offer what was answered: an empty answer keeps it, all of several.

        of_blend: whether it would do to say that it is a blend.
        """
        if of_blend and self._kind.question("blend") is not None and "blend" not in self._answers:
            answer = self._terminal.ask("Is it a blend with the wine that is there? (y; empty: no)")
            if answer.lower() in ("y", "yes"):
                self._answers["blend"] = ["yes"]
                return
        self._terminal.say("Once more; an empty answer keeps what is in brackets.")
        for name in self._asked:
            texts = self._answers.pop(name, ())
            if texts:
                self._offered[name] = " and ".join(texts)
                self._kept[name] = list(texts)
        self._asked.clear()

    def _likely(self, question: Question) -> str:
        """Say what the vessels make likely as the answer to a question, and give it; "" for nothing."""
        given = read_answers(self._kind, answered(self._answers), self._clock)
        likely = likely_answer(question, given, self._context)
        if likely is None:
            return ""
        self._terminal.say(f"{likely.why} {_NO_ANSWER} leaves it open.")
        return likely.answer

    def _ask(self, question: Question, *, needed: bool = True) -> None:
        """Ask until the answer can be read; an empty one leaves the question out."""
        texts: list[str] = []
        hint = _hint(question, needed)
        likely = "" if question.name in self._offered else self._likely(question)
        for _ in range(MOST_TRIES):
            if texts:
                text = self._terminal.ask("Another one? (empty: no more)")
            else:
                text = self._terminal.ask(question.ask + hint, self._offered.get(question.name, "") or likely)
            if not text or text == _NO_ANSWER:
                break
            if question.name in self._kept and text == self._offered.get(question.name):
                texts.extend(self._kept[question.name])
                break
            parts = each_answer(question.answer, text) if question.many else [text]
            try:
                for part in parts:
                    question.answer.read(part, self._clock)
            except (ValueError, IngestError) as error:
                self._terminal.say(str(error))
                continue
            texts.extend(parts)
            if not question.many:
                break
        if texts:
            self._answers[question.name] = texts


def _hint(question: Question, needed: bool) -> str:
    """Say what an answer looks like, and that there may be none."""
    parts = [part for part in (example_hint(question), "" if needed else "or empty") if part]
    return f" ({', '.join(parts)})" if parts else ""
