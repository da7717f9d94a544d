"""From a person's answers to the draft of an entry: texts to values, what is still to ask, values to a body. Pure."""

from __future__ import annotations

__all__ = [
    "DraftedEntry",
    "draft_entry",
    "given_of",
    "last_answers",
    "missing",
    "next_question",
    "offered_answer",
    "question_of",
    "read_answers",
    "with_known",
]

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from ingest.errors import IngestError, Problem
from ingest.journal.answers import AnswersWrong, Clock, Wrong, each_answer
from ingest.journal.body import Body, BodyWrong, read_body
from ingest.journal.entry import Draft, Entry, kind_words
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import EntryKind
from ingest.journal.question import Given, Question


class DraftedEntry(NamedTuple):
    """What would be written. warnings: what a person should know about it."""

    draft: Draft
    warnings: tuple[str, ...] = ()


def read_answers(kind: EntryKind[Any], answers: Mapping[str, Sequence[str]], clock: Clock) -> dict[str, Any]:
    """Read what the texts mean, by question; of a question that takes several answers a list.

    answers: by the question's name. Raises AnswersWrong with every answer that cannot be read, one that is given twice,
    and one that the kind does not ask for.
    """
    given: dict[str, Any] = {}
    wrong: list[Wrong] = []
    for name, given_texts in answers.items():
        question = kind.question(name)
        if question is None:
            known = ", ".join(question.name for question in kind.questions)
            wrong.append(Wrong(name, f"a {kind_words(kind.name)} does not say this; it says: {known}"))
            continue
        texts = given_texts
        if question.many:
            texts = [part for text in given_texts for part in each_answer(question.answer, text)]
        if not texts:
            continue
        if len(texts) > 1 and not question.many:
            wrong.append(Wrong(name, f"is given {len(texts)} times; once is enough"))
            continue
        values = []
        for text in texts:
            try:
                text.encode()
                values.append(question.answer.read(text, clock))
            except UnicodeEncodeError:
                wrong.append(Wrong(name, f"{text!a} holds bytes that are not UTF-8 text; write it again"))
            except (ValueError, IngestError) as error:
                wrong.append(Wrong(name, str(error)))
        if len(values) == len(texts):
            given[name] = values if question.many else values[0]
    if wrong:
        raise AnswersWrong(wrong)
    return given


def missing(kind: EntryKind[Any], given: Given) -> list[Question]:
    """List the questions that must be answered and are not."""
    return [question for question in kind.questions if question.name not in given and question.needed(given)]


def next_question(kind: EntryKind[Any], given: Given, asked: Sequence[str]) -> Question | None:
    """Find the next question to ask a person, None if there is none left; asked: names of those asked already."""
    for question in kind.questions:
        if question.name in given or question.name in asked:
            continue
        if question.needed(given) or question.asked(given):
            return question
    return None


def last_answers(kind: EntryKind[Any], last: Entry | None) -> dict[str, str]:
    """Write last time's answers to the questions that are remembered as texts; last: the newest entry of the kind."""
    if last is None:
        return {}
    answers: dict[str, str] = {}
    for question in kind.questions:
        if not question.remembered:
            continue
        if question.name == "lot":
            value: object = last.lot
        else:
            value = _answer_in(question, last.body)
        if value is not None:
            answers[question.name] = question.answer.write(value)
    return answers


def offered_answer(
    kind: EntryKind[Any], question: Question, given: Given, context: EntryContext, at_ms: int, last: Mapping[str, str]
) -> str:
    """Write the answer that is offered to a question: the one that holds already, else last time's; "" for none.

    given: what is answered so far; last: as ``last_answers`` gives it.
    """
    known = kind.known(given, context, at_ms)
    if question.name in known:
        return question.answer.write(known[question.name])
    return "" if known else last.get(question.name, "")


def given_of(kind: EntryKind[Any], entry: Entry, place_question: str) -> dict[str, Any]:
    """Give the answers that an entry was made of, as ``read_answers`` gives them.

    place_question: the question that the entry's place answers: vessel, cylinder or room.
    """
    given: dict[str, Any] = {}
    for question in kind.questions:
        value: object = None
        if question.name == place_question:
            value = entry.place
        elif question.name == "lot":
            value = entry.lot
        elif question.name not in ("vessel", "room"):
            value = _answer_in(question, entry.body)
        if value is not None and not (question.flag and value is False):
            given[question.name] = value
    return given


def _answer_in(question: Question, body: Body) -> object:
    if question.recall is not None:
        return question.recall(body)
    return getattr(body, question.key or question.name, None)


def with_known(kind: EntryKind[Any], given: Given, context: EntryContext, at_ms: int) -> dict[str, Any]:
    """Add the answers that are needed, were not given, and hold already."""
    known = kind.known(given, context, at_ms)
    needed = {question.name for question in missing(kind, given)}
    return {**given, **{name: value for name, value in known.items() if name in needed}}


def draft_entry(kind: EntryKind[Any], given: Given, context: EntryContext, *, who: str, at_ms: int) -> DraftedEntry:
    """Make the draft of answers (as ``read_answers`` gives them), worked out and checked by itself.

    Raises AnswersWrong that names each question of which the answer is missing or will not do.
    """
    lacking = [Wrong(question.name, f"is missing: {question.help}") for question in missing(kind, given)]
    if lacking:
        raise AnswersWrong(lacking)
    data = {
        question.key: given[question.name] for question in kind.questions if question.key and question.name in given
    }
    try:
        warnings = kind.complete(given, data, context, at_ms)
        body = read_body(kind.body, kind.name, data)
    except BodyWrong as error:
        raise AnswersWrong([_wrong(kind, problem) for problem in error.problems]) from None
    place = next((given[name] for name in ("vessel", "cylinder", "room") if given.get(name)), None)
    return DraftedEntry(Draft(kind.name, at_ms, who, body, place, given.get("lot")), warnings)


def _wrong(kind: EntryKind[Any], problem: Problem) -> Wrong:
    """Put a bound into the unit in which the question takes its answer, with the value that is beyond it."""
    name = question_of(kind, problem)
    question = kind.question(name)
    unit = getattr(question.answer, "unit", "") if question is not None else ""
    try:
        value = f"{float(problem.value):.10g}"
    except ValueError:
        return Wrong(name, problem.allowed)
    if not problem.allowed.startswith("must be"):
        return Wrong(name, problem.allowed)
    return Wrong(name, f"{f'{value} {unit}'.rstrip()}: {f'{problem.allowed} {unit}'.rstrip()}")


def question_of(kind: EntryKind[Any], problem: Problem) -> str:
    """Name the question that a problem of a body or draft is about; "" if it is about none in particular."""
    key = problem.key
    if key in ("at", "who"):
        return key
    names = [question.name for question in kind.questions]
    if key == "place":
        return next((name for name in names if name in ("vessel", "cylinder")), "")
    head = key.split(".")[0]
    by_key = [question.name for question in kind.questions if head and head in (question.key, question.name)]
    return by_key[0] if by_key else kind.answered_by.get(head, "")
