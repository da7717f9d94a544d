"""Bodies of entries that move wine: fill, racking, topping, sample, bottling, and the state of a vessel."""

from __future__ import annotations

__all__ = [
    "BottlesFilled",
    "BottlingBody",
    "BoughtWine",
    "Drawn",
    "FillBody",
    "Poured",
    "RackingBody",
    "SampleBody",
    "StateBody",
    "ToppingBody",
]

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from ingest.journal.body import Amount, Body, Id, Percent, Positive, Words

Volume = Positive
Count = Annotated[int, Field(ge=1, le=1_000_000)]


class FillBody(Body):
    """Wine of the entry's lot comes into the entry's vessel.

    volume_l: None where nobody measured it; u_volume_l: standard uncertainty; blend: the vessel held wine before.
    """

    volume_l: Volume | None = None
    u_volume_l: Amount | None = None
    blend: bool = False
    remark: Words | None = None


class Drawn(Body):
    """What was drawn from one vessel.

    volume_l: with the lees that were left, where it was emptied; None for all of it, or for what the others leave open.
    emptied: by default where no volume is told, or nothing is left by the journal. lees_l: part of the volume that did
    not come along.
    """

    vessel: Id
    volume_l: Volume | None = None
    emptied: bool | None = None
    lees_l: Amount | None = None


class Poured(Body):
    """What came into one vessel: volume_l, None for the rest of what was drawn; blend: it held wine before."""

    vessel: Id
    volume_l: Volume | None = None
    blend: bool = False


class RackingBody(Body):
    """Wine goes from vessels to vessels.

    stage: ``begun`` says that it is about to be done and moves nothing; begun: the id of that entry, in the entry that
    finishes it. lees_l: what was drawn and did not arrive, told as one sum; else each ``Drawn`` may tell its own.
    """

    sources: Annotated[tuple[Drawn, ...], Field(min_length=1)]
    targets: tuple[Poured, ...] = ()
    lees_l: Amount | None = None
    stage: Literal["begun", "done"] = "done"
    begun: int | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _vessels(self) -> Self:
        if self.stage == "done" and not self.targets:
            raise ValueError("a racking that is done names at least one vessel that the wine came into")
        names = [drawn.vessel for drawn in self.sources] + [poured.vessel for poured in self.targets]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"{', '.join(twice)} is named twice; each vessel stands once, as source or as target")
        if self.lees_l is not None and any(drawn.lees_l is not None for drawn in self.sources):
            raise ValueError("lees are told either as one sum or for each vessel, not both")
        for drawn in self.sources:
            if drawn.lees_l is not None and drawn.volume_l is not None and drawn.lees_l > drawn.volume_l:
                raise ValueError(
                    f"{drawn.vessel}: lees of {drawn.lees_l:g} L are more than the {drawn.volume_l:g} L drawn"
                )
        return self


class BoughtWine(Body):
    """Bottles that were bought: number x size_l, and of the wine what its label or an analysis says."""

    number: Count
    size_l: Volume
    name: Words | None = None
    alcohol_percent_vol: Percent | None = None
    ph: Annotated[float, Field(ge=2.0, le=5.0)] | None = None
    free_so2_mg_l: Amount | None = None
    total_so2_mg_l: Amount | None = None
    sugar_g_l: Amount | None = None


class ToppingBody(Body):
    """The entry's vessel is topped up: from a vessel, with bought bottles, or else with wine of the entry's lot.

    volume_l: what went in; with bottles it is by default all of them.
    """

    volume_l: Volume | None = None
    source: Id | None = None
    bought: BoughtWine | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.source is not None and self.bought is not None:
            raise ValueError("topping is from a vessel or from bought bottles; write two entries for both")
        bottles = None if self.bought is None else self.bought.number * self.bought.size_l
        if bottles is not None and self.volume_l is not None and self.volume_l > bottles + 1e-9:
            raise ValueError(f"{self.volume_l:g} L is more than the {bottles:g} L in the bottles")
        return self


class SampleBody(Body):
    """Wine drawn for a test. It does not go back."""

    volume_l: Volume | None = None
    purpose: Words | None = None
    remark: Words | None = None


class BottlesFilled(Body):
    """number of bottles of size_l."""

    number: Count
    size_l: Volume


class BottlingBody(Body):
    """The entry's vessel is bottled. waste_l: what was lost; remainder_l: what stays in the vessel, 0 for none."""

    bottles: Annotated[tuple[BottlesFilled, ...], Field(min_length=1)]
    closure: Words | None = None
    waste_l: Amount = 0.0
    remainder_l: Amount | None = None
    remark: Words | None = None


class StateBody(Body):
    """The state of the entry's vessel. lock_liquid_seen: the airlock was looked at and had liquid (true) or not."""

    state: Literal["emptied", "cleaned", "out of use", "in use"] | None = None
    lock_liquid_seen: bool | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.state is None and self.lock_liquid_seen is None and self.remark is None:
            raise ValueError("say a state (emptied, cleaned, out of use, in use), what the lock shows, or a remark")
        return self
