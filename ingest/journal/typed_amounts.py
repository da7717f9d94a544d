"""Amounts that a person typed in another unit than ours: kept beside the number, and shown as they were typed. Pure."""

from __future__ import annotations

__all__ = ["as_typed", "typed_amounts"]

import math
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ingest.cellar import split_amount
from ingest.journal.answers import Measure
from ingest.journal.body import Body, TypedAmount

if TYPE_CHECKING:  # kinds of entries stand on this file
    from ingest.journal.kinds.kind import EntryKind


def typed_amounts(
    kind: EntryKind[Any], texts: Mapping[str, Sequence[str]], given: Mapping[str, Any]
) -> tuple[TypedAmount, ...]:
    """Find the answers that are another number in the unit that the body keeps.

    texts: as they were typed, given: as they were read, both by question.
    """
    found = []
    for question in kind.questions:
        answer = question.answer
        if not isinstance(answer, Measure) or not question.key or question.many or question.name not in texts:
            continue
        (text,) = texts[question.name]
        try:
            number, unit = split_amount(text)
        except ValueError:
            continue
        if unit and not math.isclose(number, given[question.name], rel_tol=1e-9):
            found.append(TypedAmount(question=question.name, text=f"{number:.10g} {unit}"))
    return tuple(found)


def as_typed(words: str, kind: EntryKind[Any], body: Body) -> str:
    """Put what was typed into the words of an entry, in the place of the same amount in our unit."""
    for typed in body.typed:
        question = kind.question(typed.question)
        value = None if question is None else getattr(body, question.key, None)
        if question is None or not isinstance(value, float) or not isinstance(question.answer, Measure):
            continue
        unit = question.answer.unit
        numbers = (f"{value:.2f}".rstrip("0").rstrip("."), f"{value:g}", f"{value:.6g}", f"{value:.0f}")
        for number in dict.fromkeys(numbers):
            pattern = rf"(?<![\d.,]){re.escape(f'{number} {unit}')}(?![\w/])"
            place = re.search(pattern, words)
            if place is not None:
                words = words[: place.start()] + typed.text + words[place.end() :]
                break
    return words
