"""The kinds of entries, the body that each has, and how one is read from plain data."""

from __future__ import annotations

__all__ = ["BODIES", "KINDS", "BodyWrong", "Kind", "body_data", "parse_body", "parse_stored_body"]

import json
import re
from collections.abc import Mapping
from typing import Any, Final, Literal, get_args

from pydantic import ValidationError

from ingest.errors import EntryRefused, Problem
from ingest.journal.analyses import CalibrationBody, LookBody, MeasurementBody, TitrantBody, TitrationBody
from ingest.journal.body import Body
from ingest.journal.movements import BottlingBody, FillBody, RackingBody, SampleBody, StateBody, ToppingBody
from ingest.journal.treatments import AdditionBody, GasBody, LotBody

Kind = Literal[
    "lot",
    "fill",
    "titration",
    "titrant",
    "measurement",
    "addition",
    "racking",
    "topping",
    "sample",
    "gas",
    "look",
    "bottling",
    "calibration",
    "state",
]
KINDS: Final[tuple[Kind, ...]] = get_args(Kind)

BODIES: Final[dict[Kind, type[Body]]] = {
    "lot": LotBody,
    "fill": FillBody,
    "titration": TitrationBody,
    "titrant": TitrantBody,
    "measurement": MeasurementBody,
    "addition": AdditionBody,
    "racking": RackingBody,
    "topping": ToppingBody,
    "sample": SampleBody,
    "gas": GasBody,
    "look": LookBody,
    "bottling": BottlingBody,
    "calibration": CalibrationBody,
    "state": StateBody,
}


_BLUE: Final = re.compile(r'"end_point":"blue for ([0-9.]+) s"')


class BodyWrong(EntryRefused):
    """A body with mistakes: ``problems``, each with key, value and what is allowed."""


def parse_body(kind: str, data: Mapping[str, Any]) -> Body:
    """The body of an entry of that kind from plain data (texts, numbers, lists, tables), amounts in our units.

    Raises BodyWrong with every mistake, each with the key it is at (``sources.0.volume_l``), the value and what is
    allowed.
    """
    if kind not in KINDS:
        raise BodyWrong(
            [Problem("entry", "kind", shown(kind), "there is no such kind; there are: " + ", ".join(KINDS))]
        )
    try:
        # As JSON, so that a list is taken for what is kept as a tuple, and all else stays strict.
        text = json.dumps(dict(data), allow_nan=False)
    except (TypeError, ValueError) as error:
        raise BodyWrong(
            [Problem(kind, "", "", f"cannot be written down ({error}); give texts and finite numbers")]
        ) from None
    try:
        return BODIES[kind].model_validate_json(text)
    except ValidationError as error:
        raise BodyWrong([_problem(kind, one, data) for one in _own(error.errors(include_url=False))]) from None


def parse_stored_body(kind: Kind, text: str) -> Body:
    """A body as ``body_data`` wrote it. Raises pydantic's ValidationError for anything else."""
    # The first stores of the journal keep the end point of a titration in words.
    return BODIES[kind].model_validate_json(_BLUE.sub(r'"end_point_s":\1', text) if kind == "titration" else text)


def body_data(body: Body) -> str:
    """The body as JSON, without what nobody said."""
    return body.model_dump_json(exclude_defaults=True)


def shown(value: object) -> str:
    """A value as a message shows it, cut short."""
    text = json.dumps(value, ensure_ascii=False, default=str)
    # Half a character cannot be printed.
    text = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return text if len(text) <= 60 else text[:57] + "..."


def _own(errors: list[Any]) -> list[Any]:
    """The errors without those that only follow from another one deeper in."""
    places = [error["loc"] for error in errors]
    return [
        error
        for error in errors
        if not any(len(place) > len(error["loc"]) and place[: len(error["loc"])] == error["loc"] for place in places)
    ]


def _problem(kind: str, error: Any, data: Mapping[str, Any]) -> Problem:
    key = ".".join(str(part) for part in error["loc"])
    value = _found(data, error["loc"])
    message = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        allowed = ", ".join(BODIES[kind].model_fields) if len(error["loc"]) == 1 else ""  # type: ignore[index]  # a known kind
        message = "there is no such key" + (f"; there are: {allowed}" if allowed else "")
    elif error["type"] == "missing":
        message = "is missing"
    return Problem(kind, key, value, message)


def _found(data: Any, where: tuple[int | str, ...]) -> str:
    found = data
    for part in where:
        try:
            found = found[part]
        except (KeyError, IndexError, TypeError):
            return ""
    return shown(found) if where else ""
