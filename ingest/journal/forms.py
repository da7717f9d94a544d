"""The form of each kind of entry, answers read by it, and what is still to be asked. Pure."""

from __future__ import annotations

__all__ = ["FORMS", "missing", "read_answers", "to_ask"]

from collections.abc import Mapping, Sequence
from typing import Any, Final

from ingest.errors import IngestError
from ingest.journal.answers import AnswersWrong, Clock, Wrong
from ingest.journal.bodies import Kind
from ingest.journal.forms_bench import BENCH_FORMS
from ingest.journal.forms_cellar import CELLAR_FORMS
from ingest.journal.question import Form, Given, Question

# Of every kind but calibration, which is told by points of a probe.
FORMS: Final[Mapping[Kind, Form]] = {form.kind: form for form in (*BENCH_FORMS, *CELLAR_FORMS)}


def read_answers(form: Form, answers: Mapping[str, Sequence[str]], clock: Clock) -> dict[str, Any]:
    """What the texts mean, by question; of a question that takes several answers a list.

    answers: by the question's name. Raises AnswersWrong with every answer that cannot be read, one that is given twice,
    and one that the form does not ask for.
    """
    given: dict[str, Any] = {}
    wrong: list[Wrong] = []
    for name, texts in answers.items():
        question = form.question(name)
        if question is None:
            known = ", ".join(one.name for one in form.questions)
            wrong.append(Wrong(name, f"a {form.kind} does not say this; it says: {known}"))
            continue
        if not texts:
            continue
        if len(texts) > 1 and not question.many:
            wrong.append(Wrong(name, f"is given {len(texts)} times; once is enough"))
            continue
        read = []
        for text in texts:
            try:
                text.encode()
                read.append(question.answer.read(text, clock))
            except UnicodeEncodeError:
                wrong.append(Wrong(name, f"{text!a} holds bytes that are no UTF-8 text; write it anew"))
            except (ValueError, IngestError) as error:
                wrong.append(Wrong(name, str(error)))
        if len(read) == len(texts):
            given[name] = read if question.many else read[0]
    if wrong:
        raise AnswersWrong(wrong)
    return given


def missing(form: Form, given: Given) -> list[Question]:
    """The questions that must be answered and are not."""
    return [one for one in form.questions if one.name not in given and one.needed(given)]


def to_ask(form: Form, given: Given, asked: Sequence[str]) -> Question | None:
    """The next question to ask a person, None if there is none left; asked: names of those asked already."""
    for one in form.questions:
        if one.name not in given and one.name not in asked and (one.needed(given) or one.asked(given)):
            return one
    return None
