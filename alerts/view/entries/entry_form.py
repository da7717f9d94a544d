"""The questions of an entry as a form: what stands in each field, what is offered, which are asked for now. Pure.

The command asks the same questions one by one, and offers the same answers.
"""

from __future__ import annotations

__all__ = ["FormField", "entry_form", "example_hint", "likely_answer", "without_stale_offers"]

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from alerts.view.entries.choices import Candidate, choices
from ingest.errors import IngestError
from ingest.journal.answers import AnswersWrong, Choice, Clock, UsualWords, WrittenWords
from ingest.journal.drafting import last_answers, next_question, offered_answer, read_answers
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.question import Given, Likely, Question, never

Texts = Mapping[str, Sequence[str]]
"""Answers as texts, by question."""

_AS_NOW: Final = "as it is now"
_AS_LAST: Final = "as last time"


@dataclass(frozen=True, slots=True)
class FormField:
    """One question of a form.

    texts: what stands in it; why: where that comes from if nobody typed it, else ""; needed: it must be answered;
    asked: a person is asked for it, by what is answered so far; extra: nobody is ever asked for it; choices: what there
    is to choose from; units: which units its amount can have.
    """

    question: Question
    texts: tuple[str, ...] = ()
    why: str = ""
    needed: bool = False
    asked: bool = False
    extra: bool = False
    choices: tuple[Candidate, ...] = ()
    units: tuple[str, ...] = ()

    @property
    def hint(self) -> str:
        """What an answer looks like."""
        return example_hint(self.question)


def example_hint(question: Question) -> str:
    """Say what an answer looks like; "" where any words will do, so that an example would only puzzle."""
    answer = question.answer
    if answer == WrittenWords():
        return ""
    return answer.example if isinstance(answer, Choice) else f"such as {answer.example}"


def likely_answer(question: Question, given: Given, context: EntryContext) -> Likely | None:
    """Give the answer that the vessels make likely, by what is answered so far; None for nothing."""
    return None if question.likely is None else question.likely(given, context.contents)


def entry_form(
    kind: EntryKind[Any],
    texts: Texts,
    context: EntryContext,
    clock: Clock,
    at_ms: int,
    *,
    as_they_are: Collection[str] | None = (),
) -> list[FormField]:
    """Make the fields of a form, in the order of the kind's questions.

    texts: the answers so far, also such as cannot be read; at_ms: of the entry, UTC ms; as_they_are: questions in which
    nothing is offered because a person was there already, None for all.
    """
    filled = {name: tuple(answers) for name, answers in texts.items() if answers}
    given = _readable(kind, filled, clock)
    whys: dict[str, str] = {}
    last = last_answers(kind, context.last)
    asked = [question.name for question in kind.questions] if as_they_are is None else list(as_they_are)
    while (question := next_question(kind, given, asked)) is not None:
        asked.append(question.name)
        if question.name in filled:
            continue
        text, why = _offer(kind, question, given, context, at_ms, last)
        value = _readable(kind, {question.name: (text,)}, clock) if text else {}
        if value:
            filled[question.name], whys[question.name] = (text,), why
            given |= value
    return [
        FormField(
            question,
            filled.get(question.name, ()),
            whys.get(question.name, ""),
            needed=question.needed(given),
            asked=question.needed(given) or question.asked(given) or question.name in filled,
            extra=question.needed is never and question.asked is never,
            choices=tuple(choices(question.name, context, clock)),
            units=_units(question, given),
        )
        for question in kind.questions
    ]


def without_stale_offers(kind: EntryKind[Any], texts: Texts, offers: Texts, clock: Clock) -> dict[str, Sequence[str]]:
    """Leave out what was only offered, stands there as it was offered, and is no longer asked for."""
    kept = dict(texts)
    for question in kind.questions:
        name = question.name
        if name not in offers or list(kept.get(name, ())) != list(offers[name]):
            continue
        given = _readable(kind, {other: answers for other, answers in kept.items() if other != name}, clock)
        if not question.needed(given) and not question.asked(given):
            del kept[name]
    return kept


def _offer(
    kind: EntryKind[Any],
    question: Question,
    given: Given,
    context: EntryContext,
    at_ms: int,
    last: Mapping[str, str],
) -> tuple[str, str]:
    """The answer that is offered, and why; two empty texts for none."""
    offered = offered_answer(kind, question, given, context, at_ms, last)
    if offered:
        return offered, _AS_LAST if offered == last.get(question.name) else _AS_NOW
    likely = likely_answer(question, given, context)
    return ("", "") if likely is None else (likely.answer, likely.why)


def _readable(kind: EntryKind[Any], texts: Texts, clock: Clock) -> dict[str, Any]:
    """What those of the answers mean that can be read."""
    given: dict[str, Any] = {}
    for name, answers in texts.items():
        try:
            given |= read_answers(kind, {name: answers}, clock)
        except (AnswersWrong, IngestError):
            continue
    return given


def _units(question: Question, given: Given) -> tuple[str, ...]:
    if question.units is not None:
        return question.units(given)
    if isinstance(question.answer, UsualWords):
        return ()
    units: tuple[str, ...] = getattr(question.answer, "units", ())
    return tuple(unit for unit in units if unit)
