"""Answers that will not do as the error of a call, with the option of each."""

from __future__ import annotations

__all__ = ["wrong_options"]

from typing import Any

import typer

from ingest.journal.answers import AnswersWrong
from ingest.journal.kinds.kind import EntryKind


def wrong_options(kind: EntryKind[Any], error: AnswersWrong) -> typer.BadParameter:
    """Make the call's error that names the option of each answer that will not do."""
    named = []
    for field, why in error.wrong:
        question = kind.question(field)
        named.append((f"--{field}" if question is None else question.option, why))
    if len(named) == 1:
        return typer.BadParameter(named[0][1], param_hint=named[0][0])
    lines = "".join(f"\n  {option}: {why}" for option, why in named)
    return typer.BadParameter(lines, param_hint=", ".join(dict.fromkeys(option for option, _ in named)))
