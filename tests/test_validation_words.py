"""What pydantic refuses is said in our words, wherever a person or a file gives a value."""

from __future__ import annotations

from itertools import product
from typing import Annotated, Any, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ingest.cellar.draft import TableKind
from ingest.cellar.table_entry import WrittenTable, known_keys, read_entry
from ingest.cellar.tables import TABLES
from ingest.journal.body import BodyWrong
from ingest.journal.kinds import KINDS, parse_body
from ingest.journal.kinds.kind import EntryKind
from ingest.validation_words import allowed_words

# What would be right, as pydantic's own messages begin or go on.
LIBRARY = (
    "Input should",
    "String should",
    "Value should",
    "List should",
    "Tuple should",
    "valid number",
    "valid string",
    "JSON",
    "ensure this",
)
WRONG: tuple[Any, ...] = (-1e9, 1e9, 2**70, 1.5, True, "", "x" * 3000, "\ud800", [], ["x"], {}, {"x": 1}, None)


class Inner(BaseModel):
    name: str


class Form(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)

    share: Annotated[float, Field(gt=0.5, lt=1000.0)] = 1.0
    most: Annotated[float, Field(ge=0.0, le=1e6)] = 1.0
    count: Annotated[int, Field(ge=1, le=7)] = 1
    text: Annotated[str, Field(min_length=1, max_length=2000)] = "x"
    several: Annotated[list[str], Field(min_length=1, max_length=1)] = Field(default_factory=lambda: ["x"])
    pair: tuple[str, ...] = ()
    inner: Inner | None = None
    word: Literal["a", "b"] = "a"
    flag: bool = False


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("share", 0.5, "must be more than 0.5"),
        ("share", 1000.0, "must be less than 1000"),
        ("share", float("nan"), "must be a finite number"),
        ("most", -1.0, "must be at least 0"),
        ("most", 2e6, "must be at most 1000000"),
        ("most", "3 L", "must be a number without quotes"),
        ("count", 1.5, "must be a whole number without quotes"),
        ("count", 8, "must be at most 7"),
        ("text", "", "must not be empty"),
        ("text", "x" * 2001, "must have at most 2000 characters"),
        ("text", 3, 'must be text in quotes, such as "..."'),
        ("several", [], "needs at least 1 item"),
        ("several", ["x", "y"], "must have at most 1 item"),
        ("several", "x", "must be a list"),
        ("pair", "x", "must be a list"),
        ("inner", 3, "must be an object with keys"),
        ("inner", {}, "is missing"),
        ("word", "c", 'allowed: "a" or "b"'),
        ("flag", "yes", "must be true or false, without quotes"),
        ("other", 1, "there is no such key"),
    ],
)
def test_what_is_allowed_is_said_in_our_words(key: str, value: Any, words: str) -> None:
    with pytest.raises(ValidationError) as caught:
        Form.model_validate({key: value})
    assert [allowed_words(detail) for detail in caught.value.errors()] == [words]


@pytest.mark.parametrize("kind", KINDS.values(), ids=KINDS)
def test_no_library_words_about_any_key_of_an_entry(kind: EntryKind[Any]) -> None:
    refused = 0
    for key, value in product(kind.body.model_fields, WRONG):
        try:
            parse_body(kind.name, {key: value})
        except BodyWrong as error:
            refused += 1
            for problem in error.problems:
                assert not any(words in problem.allowed for words in LIBRARY), (key, value, problem.allowed)
    assert refused > len(WRONG)


@pytest.mark.parametrize("table", TABLES, ids=[table.name for table in TABLES])
def test_no_library_words_about_any_key_of_a_cellar_file(table: TableKind) -> None:
    for key, value in product(known_keys(table.model), [value for value in WRONG if value is not None]):
        _, problems = read_entry(table.model, WrittenTable(table.label, {key: value}))
        for problem in problems:
            assert not any(words in problem.allowed for words in LIBRARY), (key, value, problem.allowed)
