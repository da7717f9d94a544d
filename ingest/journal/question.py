"""A question: what is asked for one part of an entry, how it is answered, and when it must be; those of several kinds.

An entry's questions are also the options of its command.
"""

from __future__ import annotations

__all__ = ["CYLINDER", "LOT", "REMARK", "VESSEL", "Given", "Likely", "Question", "always", "never"]

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from ingest.journal.answers import AnswerForm, WrittenWords
from ingest.journal.contents import Contents

# What is answered so far: by the question's name, as read; of one that takes several answers a list.
Given = Mapping[str, Any]


class Likely(NamedTuple):
    """An answer that is offered because of what the vessels hold, and why, in a sentence."""

    answer: str
    why: str


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
    also leave it out; remembered: whether last time's answer is offered; recall: reads the answer, as ``answer.read``
    gives it, from a body that was made of it, where it is not its key's value; likely: what is offered because of what
    the vessels hold; units: which units its amount can have, by what is answered so far, where its form does not say;
    new: whether the answer may be the name of something that is not there yet.
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
    recall: Callable[[Any], Any] | None = None
    likely: Callable[[Given, Mapping[str, Contents]], Likely | None] | None = None
    units: Callable[[Given], tuple[str, ...]] | None = None
    new: bool = False

    @property
    def option(self) -> str:
        """As the command calls it."""
        return "--" + self.name.replace("_", "-")


VESSEL: Final = Question("vessel", "Which vessel?", "The vessel's id.", WrittenWords("ID", "K1"), needed=always)
CYLINDER: Final = Question("cylinder", "Which cylinder?", "The gas cylinder's id.", WrittenWords("ID", "N2"))
LOT: Final = Question("lot", "Which lot?", "The wine: the lot's id.", WrittenWords("ID", "riesling-26"))
REMARK: Final = Question("remark", "A remark?", "A remark.", WrittenWords(), key="remark")
