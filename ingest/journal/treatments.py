"""Bodies of entries about a wine and what is given to it: lot, addition, gas."""

from __future__ import annotations

__all__ = ["AdditionBody", "GasBody", "LotBody"]

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from ingest.cellar import Gas
from ingest.journal.body import Amount, Body, Id, Percent, Positive, Words


class LotBody(Body):
    """A wine. A later entry of the same lot says what holds from then on."""

    name: Words
    style: Literal["white", "rosé", "red", "sweet"]
    vintage: Annotated[int, Field(ge=1800, le=2200)] | None = None
    alcohol_percent_vol: Percent | None = None
    sugar_g_l: Amount | None = None
    malolactic: Literal["wanted", "under way", "complete", "prevented"] | None = None
    remark: Words | None = None


class AdditionBody(Body):
    """What was added to the wine of the entry's vessel.

    form ``metabisulfite``: mass_g of salt; ``stock solution``: volume_ml of one with stock_g_per_100_ml of salt;
    ``tablets``: number of them, label_so2_g each; ``liquid``: volume_ml with label_so2_g_l; ``other``: name and what is
    known of its amount. so2_g: the SO2 that it brings, as worked out when it was written.
    """

    form: Literal["metabisulfite", "stock solution", "tablets", "liquid", "other"]
    salt: Literal["potassium", "sodium"] | None = None
    name: Words | None = None
    mass_g: Positive | None = None
    volume_ml: Positive | None = None
    stock_g_per_100_ml: Positive | None = None
    number: Positive | None = None
    label_so2_g: Positive | None = None
    label_so2_g_l: Positive | None = None
    amount: Words | None = None
    so2_g: Amount | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        needs = {
            "metabisulfite": ("mass_g",),
            "stock solution": ("volume_ml", "stock_g_per_100_ml"),
            "tablets": ("number", "label_so2_g"),
            "liquid": ("volume_ml", "label_so2_g_l"),
            "other": ("name",),
        }[self.form]
        missing = [need for need in needs if getattr(self, need) is None]
        if missing:
            raise ValueError(f"an addition as {self.form} needs {' and '.join(missing)}")
        if self.form == "other" and not any((self.mass_g, self.volume_ml, self.number, self.amount)):
            raise ValueError("say how much: mass_g, volume_ml, number, or amount in words")
        return self


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
