"""Kind "inspection": what the wine looks and smells like."""

from __future__ import annotations

__all__ = ["INSPECTION", "InspectionBody"]

from typing import Final, Literal, Self

from pydantic import model_validator

from ingest.cellar import Dimension
from ingest.journal.answers import Choice, Measure, Number, WrittenWords, YesNo
from ingest.journal.body import Amount, Body, Words
from ingest.journal.kinds.kind import EntryKind, large_caution
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import REMARK, VESSEL, Question, always


class InspectionBody(Body):
    """What the wine looks and smells like. lees_mm: their depth; film: whether there is one; photo: a file's name."""

    clarity: Literal["bright", "clear", "hazy", "cloudy"] | None = None
    turbidity_ntu: Amount | None = None
    lees_mm: Amount | None = None
    smell: Words | None = None
    film: bool | None = None
    photo: Words | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if all(getattr(self, name) is None for name in type(self).model_fields if name not in Body.model_fields):
            raise ValueError("say what was seen: clarity, turbidity, lees, smell, film, a photo or a remark")
        return self


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "clarity",
        "Clarity?",
        "bright, clear, hazy, cloudy.",
        Choice(("bright", "clear", "hazy", "cloudy")),
        "clarity",
        asked=always,
    ),
    Question("turbidity", "Turbidity?", "Turbidity in NTU.", Number(("NTU",), "2 NTU", "AMOUNT"), "turbidity_ntu"),
    Question(
        "lees",
        "Depth of the lees?",
        "Depth of the lees.",
        Measure(Dimension.LENGTH, "mm", "5 mm"),
        "lees_mm",
        asked=always,
    ),
    Question("smell", "Smell?", "What it smells of.", WrittenWords(), "smell", asked=always),
    Question("film", "A film?", "Whether there is a film.", YesNo(), "film", asked=always),
    Question("photo", "A photo?", "The name of a photo's file.", WrittenWords("NAME", "k1.jpg"), "photo"),
    REMARK,
)


def _words(body: InspectionBody, _: str | None) -> str:
    film = None if body.film is None else "a film" if body.film else "no film"
    words = joined(
        [
            body.clarity,
            phrase(body.turbidity_ntu, "{:g} NTU"),
            phrase(body.lees_mm, "{:g} mm of lees"),
            phrase(body.smell, "smells of {}"),
            film,
            phrase(body.photo, "photo {}"),
        ]
    )
    return words or "inspected"


INSPECTION: Final = EntryKind(
    name="inspection",
    body=InspectionBody,
    says="What the wine looks and smells like.",
    example="--vessel C1 --clarity clear --lees '5 mm' --film no",
    questions=_QUESTIONS,
    answered_by={"": "clarity"},
    words=_words,
    caution=large_caution,
)
