"""Kind "gas": something is done with gas at a vessel or a cylinder."""

from __future__ import annotations

__all__ = ["GAS", "GasBody"]

from dataclasses import replace
from typing import Annotated, Final, Literal, Self

from pydantic import Field, model_validator

from ingest.cellar import Dimension, Gas
from ingest.journal.answers import AnswersWrong, Choice, Measure, Whole, Wrong
from ingest.journal.body import Body, Id, Words
from ingest.journal.entry_context import EntryContext
from ingest.journal.kinds.kind import (
    GLASS,
    VESSEL_KINDS,
    BodyData,
    EntryKind,
    NamedVessels,
    PlaceRule,
    beyond_stamp,
    large_caution,
)
from ingest.journal.phrases import phrase
from ingest.journal.question import CYLINDER, REMARK, VESSEL, Given, Question, always

# What puts a vessel under pressure; a shut carboy bursts at little (common practice, no source).
_PRESSES: Final = frozenset({"charged", "pushed", "supply opened"})

_CYLINDER: Final = "keep the cylinder upright and chained, and never without its regulator; open the valve slowly"
_PRESSURE: Final = (
    "gas under pressure: stay below the vessel's stamped maximum, vent before opening; nitrogen, argon and carbon "
    "dioxide take the air of a small room"
)


class GasBody(Body):
    """What was done with gas at the entry's vessel or cylinder.

    pressure_kpa: gauge, what it was charged to or vented to; times: how often it was purged; cylinder: where the gas
    came from.
    """

    act: Literal["charged", "purged", "gas changed", "pushed", "vented", "supply opened", "supply shut"]
    pressure_kpa: Annotated[float, Field(ge=-100.0, le=1000.0)] | None = None
    times: Annotated[int, Field(ge=1, le=100)] | None = None
    gas: Gas | None = None
    cylinder: Id | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        needs = {"charged": "pressure_kpa", "purged": "times", "gas changed": "gas"}.get(self.act)
        if needs is not None and getattr(self, needs) is None:
            raise ValueError(f"'{self.act}' needs {needs}")
        return self


_QUESTIONS: Final = (
    replace(
        VESSEL,
        help="The vessel's id; without it the entry is about the cylinder.",
        needed=lambda given: not given.get("cylinder"),
    ),
    Question(
        "act",
        "What was done?",
        "charged, purged, gas changed, pushed, vented, supply opened, supply shut.",
        Choice(("charged", "purged", "gas changed", "pushed", "vented", "supply opened", "supply shut")),
        "act",
        needed=always,
        remembered=True,
    ),
    Question(
        "pressure",
        "To what pressure?",
        "Gauge pressure that it was charged or vented to.",
        Measure(Dimension.PRESSURE, "kPa", "55 kPa", "gauge"),
        "pressure_kpa",
        needed=lambda given: given.get("act") == "charged",
        asked=lambda given: given.get("act") == "vented",
        remembered=True,
    ),
    Question(
        "times",
        "How many times?",
        "How many times it was purged; needed for purged.",
        Whole("3"),
        "times",
        needed=lambda given: given.get("act") == "purged",
        remembered=True,
    ),
    Question(
        "gas",
        "Which gas?",
        "nitrogen, argon, carbon dioxide.",
        Choice(("nitrogen", "argon", "carbon dioxide")),
        "gas",
        needed=lambda given: given.get("act") == "gas changed",
    ),
    replace(
        CYLINDER,
        ask="From which cylinder?",
        asked=lambda given: given.get("act") in ("charged", "purged", "pushed"),
        remembered=True,
        recall=lambda body: body.cylinder,
    ),
    REMARK,
)


def _complete(given: Given, data: BodyData, context: EntryContext, _: int) -> tuple[str, ...]:
    cylinder = given.get("cylinder")
    # Without a vessel the entry is about the cylinder itself.
    if cylinder is not None and given.get("vessel"):
        known = [each.id for each in context.cellar.cylinder]
        if cylinder not in known:
            there = ", ".join(known) or "none"
            raise AnswersWrong([Wrong("cylinder", f"the cellar file has no cylinder '{cylinder}'; there are: {there}")])
        data["cylinder"] = cylinder
    return ()


def _words(body: GasBody, _: str | None) -> str:
    pressure = phrase(body.pressure_kpa, " to {:g} kPa") or ""
    times = "" if body.times is None else f" {body.times} times"
    gas = phrase(body.gas, " {}") or ""
    return f"{body.act}{times}{pressure}{gas}" + (f", from {body.cylinder}" if body.cylinder else "")


def _caution(body: GasBody, vessels: NamedVessels) -> str:
    if body.act == "supply shut":
        return ""
    # Without a vessel it is about a cylinder.
    at_cylinder = body.cylinder is not None or not vessels.vessels
    cautions = ((_CYLINDER, at_cylinder), (GLASS, vessels.of_glass))
    parts = (large_caution(body, vessels), _PRESSURE, *(text for text, due in cautions if due))
    return "; ".join(part for part in parts if part)


def _warnings(body: GasBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That gas was put on vessels of glass, or more than is stamped on a vessel."""
    warnings = []
    for vessel in vessels.vessels:
        if vessel.material == "glass" and body.act in _PRESSES:
            warnings.append(
                f"{vessel.id} is of glass, and glass bursts under pressure: shut the gas, keep others away, and let "
                "the pressure off slowly from aside, with eyes and hands shielded"
            )
    return (*warnings, *(() if body.pressure_kpa is None else beyond_stamp(vessels, body.pressure_kpa)))


GAS: Final = EntryKind(
    name="gas",
    body=GasBody,
    says="Something is done with gas at a vessel or a cylinder.",
    example="--vessel K1 --act charged --pressure '55 kPa' --cylinder N2",
    questions=_QUESTIONS,
    complete=_complete,
    answered_by={"": "act"},
    place=PlaceRule(VESSEL_KINDS | {"cylinder"}, needed=True),
    words=_words,
    caution=_caution,
    warnings=_warnings,
)
