"""A question of a form: what is asked for one part of an entry, how it is answered, and when it must be."""

from __future__ import annotations

__all__ = ["Form", "Given", "Question", "always", "never"]

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from ingest.journal.answers import AnswerForm
from ingest.journal.bodies import Kind

# What is answered so far: by the question's name, as read; of one that takes several answers a list.
Given = Mapping[str, Any]


def always(_: Given) -> bool:
    """Whatever else is answered."""
    return True


def never(_: Given) -> bool:
    """Not at all."""
    return False


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    name: also the name of the command's option; ask: the question itself; help: what it is, in a line; key: of the
    body, "" where it needs more than to be copied; many: may be answered several times; flag: is yes by being named;
    needed: whether it must be answered, by what is answered so far; asked: whether a person is asked for it who may
    also leave it out; remembered: whether last time's answer is offered.
    """

    name: str
    ask: str
    help: str
    answer: AnswerForm
    key: str = ""
    many: bool = False
    flag: bool = False
    needed: Callable[[Given], bool] = never
    asked: Callable[[Given], bool] = never
    remembered: bool = False

    @property
    def option(self) -> str:
        """As the command calls it."""
        return "--" + self.name.replace("_", "-")


@dataclass(frozen=True, slots=True)
class Form:
    """The questions of one kind of entry, in the order in which they are asked. example: options of a whole call."""

    kind: Kind
    says: str
    example: str
    questions: tuple[Question, ...]

    def question(self, name: str) -> Question | None:
        """The question of that name."""
        return next((one for one in self.questions if one.name == name), None)
