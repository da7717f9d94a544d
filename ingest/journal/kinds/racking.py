"""Kind "racking": wine goes from vessels to vessels."""

from __future__ import annotations

__all__ = ["RACKING", "Drawn", "Poured", "RackingBody", "drawn_l"]

import math
from collections.abc import Callable, Mapping
from typing import Annotated, Any, Final, Literal, Self

from pydantic import Field, model_validator

from ingest.cellar import Dimension
from ingest.journal.answers import AnswersWrong, Choice, Measure, VesselVolume, WrittenWords, Wrong, YesNo
from ingest.journal.body import Amount, Body, BodyPart, Id, Positive, Words
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import (
    NO_PLACE,
    BodyData,
    EntryKind,
    LedgerStep,
    LotRule,
    NamedVessels,
    StateOf,
    opening_caution,
)
from ingest.journal.open_rackings import finished_by
from ingest.journal.phrases import joined, listed, phrase
from ingest.journal.question import REMARK, Given, Question, always
from ingest.journal.vessel_state import (
    ROUNDING_L,
    Objection,
    VesselState,
    drawing_objections,
    emptied,
    left,
    liters,
    occupied,
    received,
    too_full,
    usual_u_l,
)
from ingest.journal.wine import STRANGE, Wine, mix, root, sum_known

# What is left after a racking and is less than this part of the vessel is more likely a difference of two measurements
# than wine (this project's choice).
_LITTLE: Final = 0.05
# What hoses and filters keep is not worth a word (this project's choice).
_LEAST_LOST_L: Final = 0.3
_LITTLE_LOST: Final = 0.02


Air = Literal["under gas", "closed", "open"]
_AIR: Final[tuple[Air, ...]] = ("under gas", "closed", "open")


class Drawn(BodyPart):
    """What was drawn from one vessel.

    volume_l: with the lees that were left, where it was emptied; None for all of it, or for what the others leave open.
    emptied: by default where no volume is given, or nothing is left by the journal. lees_l: part of the volume that did
    not come along.
    """

    vessel: Id
    volume_l: Positive | None = None
    emptied: bool | None = None
    lees_l: Amount | None = None


class Poured(BodyPart):
    """What came into one vessel: volume_l, None for the rest of what was drawn; blend: it held wine before."""

    vessel: Id
    volume_l: Positive | None = None
    blend: bool = False


class RackingBody(Body):
    """Wine goes from vessels to vessels.

    stage: ``begun`` says that it is about to be done and moves nothing; begun: the id of that entry, in the entry that
    finishes it. lees_l: what was drawn and did not arrive, as one sum; else each ``Drawn`` may give its own. air: how
    much of it the wine met: pushed over into a vessel full of gas, through closed hoses, or open to the air.
    """

    sources: Annotated[tuple[Drawn, ...], Field(min_length=1)]
    targets: tuple[Poured, ...] = ()
    lees_l: Amount | None = None
    air: Air | None = None
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
            raise ValueError(f"{', '.join(twice)} is named twice; name each vessel once, as source or as target")
        if self.lees_l is not None and any(drawn.lees_l is not None for drawn in self.sources):
            raise ValueError("lees are given either as one sum or for each vessel, not both")
        for drawn in self.sources:
            if drawn.lees_l is not None and drawn.volume_l is not None and drawn.lees_l > drawn.volume_l:
                raise ValueError(
                    f"{drawn.vessel}: lees of {drawn.lees_l:g} L are more than the {drawn.volume_l:g} L drawn"
                )
        return self

    @property
    def places(self) -> tuple[str, ...]:
        """The vessels that the wine came from, then those that it came into."""
        return (*(drawn.vessel for drawn in self.sources), *(poured.vessel for poured in self.targets))

    @property
    def place_keys(self) -> tuple[str, ...]:
        """Whether each of them is a source or a target."""
        return ("sources",) * len(self.sources) + ("targets",) * len(self.targets)

    def renamed(self, name_now: Callable[[str], str]) -> Self:
        """Give the body with these vessels called as they are now."""
        sources = tuple(drawn.model_copy(update={"vessel": name_now(drawn.vessel)}) for drawn in self.sources)
        targets = tuple(poured.model_copy(update={"vessel": name_now(poured.vessel)}) for poured in self.targets)
        return self.model_copy(update={"sources": sources, "targets": targets})


# ---- questions ------------------------------------------------------------------------------------------------------


def _named(vessel: str, volume_l: float | None) -> dict[str, Any]:
    """A vessel and what was drawn or poured, as it is answered."""
    return {"vessel": vessel} if volume_l is None else {"vessel": vessel, "volume_l": volume_l}


def _not_begun(given: Given) -> bool:
    return not given.get("begin")


_QUESTIONS: Final = (
    Question(
        "from",
        "From which vessel, and how much?",
        "A vessel and what was drawn, lees included; without a volume all of it. Once for each.",
        VesselVolume(),
        many=True,
        needed=always,
        recall=lambda body: [_named(each.vessel, each.volume_l) for each in body.sources],
    ),
    Question(
        "to",
        "Into which vessel?",
        "A vessel and what came into it; without a volume the rest. Once for each.",
        VesselVolume("VESSEL[=VOLUME]", "K3"),
        many=True,
        needed=_not_begun,
        recall=lambda body: [_named(each.vessel, each.volume_l) for each in body.targets] or None,
    ),
    Question(
        "lees",
        "How much was left as lees?",
        "What was drawn and did not arrive.",
        Measure(Dimension.VOLUME, "L", "0.5 L"),
        "lees_l",
        asked=_not_begun,
    ),
    Question(
        "air",
        "How much air did it meet?",
        "under gas: pushed into a vessel full of gas; closed: through hoses; open to the air.",
        Choice(_AIR),
        "air",
        asked=_not_begun,
    ),
    Question(
        "emptied",
        "Emptied?",
        "A source that is empty now, whatever its volume was.",
        WrittenWords("ID", "K1"),
        many=True,
        recall=lambda body: [each.vessel for each in body.sources if each.emptied] or None,
    ),
    Question(
        "blend",
        "A blend?",
        "The vessels it came into held wine before.",
        YesNo(),
        flag=True,
        recall=lambda body: any(each.blend for each in body.targets),
    ),
    Question(
        "begin",
        "Only begun?",
        "It is about to be done; the entry that finishes it follows.",
        YesNo(),
        flag=True,
        recall=lambda body: body.stage == "begun",
    ),
    REMARK,
)


def _complete(given: Given, data: BodyData, context: EntryContext, at_ms: int) -> tuple[str, ...]:
    emptied_sources = set(given.get("emptied", ()))
    names = [drawn["vessel"] for drawn in given["from"]]
    stray = sorted(emptied_sources - set(names))
    if stray:
        raise AnswersWrong([Wrong("emptied", f"{', '.join(stray)} is not among the vessels it came from")])
    data["sources"] = [
        {**drawn, "emptied": True} if drawn["vessel"] in emptied_sources else drawn for drawn in given["from"]
    ]
    data["targets"] = [{**poured, "blend": True} if given.get("blend") else poured for poured in given.get("to", ())]
    if given.get("begin"):
        data["stage"] = "begun"
        return ()
    data["notes"] = _lost_notes(data, context.contents)
    begun = finished_by(context.begun, names, at_ms)
    if begun is not None:
        data["begun"] = begun.entry
    return ()


def _lost_notes(data: BodyData, contents: Mapping[str, Contents]) -> list[str]:
    """That more was drawn than came in, where all of that is known and lees do not explain it."""
    out = [drawn.get("volume_l", _held_l(drawn, contents)) for drawn in data["sources"]]
    into = [poured.get("volume_l") for poured in data["targets"]]
    drawn_l, poured_l = sum_known(out), sum_known(into)
    if drawn_l is None or poured_l is None:
        return []
    lost_l = drawn_l - (data.get("lees_l") or 0.0) - poured_l
    if lost_l < max(_LEAST_LOST_L, _LITTLE_LOST * drawn_l):
        return []
    lees = "" if data.get("lees_l") is None else f" less {liters(data['lees_l'])} of lees"
    return [
        f"{liters(drawn_l)} drawn{lees}, {liters(poured_l)} came in: {liters(lost_l)} lost on the way. If that was "
        "lees, say so with lees; if it stayed behind, say how much was drawn"
    ]


def _held_l(drawn: Mapping[str, Any], contents: Mapping[str, Contents]) -> float | None:
    held = contents.get(drawn["vessel"])
    return None if held is None else held.volume_l


# ---- words, caution, warnings ---------------------------------------------------------------------------------------


def _words(body: RackingBody, _: str | None) -> str:
    sources = listed([_drawn_words(drawn) for drawn in body.sources])
    into = " into " + listed([_poured_words(poured) for poured in body.targets]) if body.targets else ""
    lees = phrase(body.lees_l or None, "{:g} L left as lees")
    finishes = phrase(body.begun, "finishes no. {}")
    begun = "begun: " if body.stage == "begun" else ""
    return joined([f"{begun}{sources}{into}", lees, body.air, finishes])


def _drawn_words(drawn: Drawn) -> str:
    return (f"all of {drawn.vessel}" if drawn.volume_l is None else f"{liters(drawn.volume_l)} from {drawn.vessel}") + (
        f" ({liters(drawn.lees_l)} of lees)" if drawn.lees_l else ""
    )


def _poured_words(poured: Poured) -> str:
    volume = "" if poured.volume_l is None else f" ({liters(poured.volume_l)})"
    return f"{poured.vessel}{volume}" + (", blended" if poured.blend else "")


def _warnings(body: RackingBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That so little would be left in a vessel that it may be empty."""
    if body.stage == "begun":
        return ()
    after = {contents.vessel: contents for contents in vessels.after}
    return tuple(
        f"{liters(rest)} would stay in {drawn.vessel}; if it is empty now, say that it was emptied"
        for drawn in body.sources
        if drawn.emptied is None
        and (contents := after.get(drawn.vessel)) is not None
        and (rest := contents.volume_l) is not None
        and contents.capacity_l is not None
        and 0.0 < rest < _LITTLE * contents.capacity_l
    )


# ---- the ledger -----------------------------------------------------------------------------------------------------


def _ledger_step(entry: Entry, body: RackingBody, state_of: StateOf, equipment: Equipment) -> LedgerStep:
    """Drawn = come in + lees.

    A volume that nobody gave follows from the others where that is possible, else it stays unknown. Lees given as one
    sum are taken off the sources in proportion to what was drawn.
    """
    if body.stage == "begun":
        return LedgerStep(
            objections=[
                objection
                for drawn in body.sources
                for objection in drawing_objections(drawn.vessel, state_of(drawn.vessel), None, "racked")
            ]
        )
    before = {drawn.vessel: state_of(drawn.vessel) for drawn in body.sources}
    volumes_out = drawn_l(body, before)
    arrived_l, lees_l, objections = _arrived(body, volumes_out)
    changes: dict[str, VesselState] = {}
    streams: list[tuple[float | None, Wine]] = []
    spreads: list[float | None] = []
    for drawn, volume in zip(body.sources, volumes_out, strict=True):
        source = before[drawn.vessel]
        objections += drawing_objections(drawn.vessel, source, volume, "racked")
        clear = volume if volume is None else max(volume - (drawn.lees_l or 0.0), 0.0)
        streams.append((clear, source.wine if source.wine.parts else STRANGE))
        spreads.append(source.u_l if drawn.volume_l is None and volume == source.volume_l else usual_u_l(volume))
        whole = drawn.volume_l is None if drawn.emptied is None else drawn.emptied
        changes[drawn.vessel] = emptied(source, entry.at_ms) if whole else left(source, volume, entry.at_ms)
    volumes_in, too_much = _poured_l(body, arrived_l, lees_l)
    wine = mix(streams)
    for poured, volume in zip(body.targets, volumes_in, strict=True):
        vessel, target = poured.vessel, state_of(poured.vessel)
        rest_of_all = poured.volume_l is None and len(body.targets) == 1
        u_l = root(*spreads) if rest_of_all else usual_u_l(volume)
        after = received(target, volume, u_l, wine, blend=poured.blend, at_ms=entry.at_ms)
        objections += occupied(vessel, target, blend=poured.blend)
        objections += too_full(vessel, after.volume_l, equipment.capacity_l(vessel, entry.at_ms))
        changes[vessel] = after if after is target else after._replace(racked_ms=entry.at_ms)
    return LedgerStep(changes, objections + too_much, list(before))


def drawn_l(body: RackingBody, before: Mapping[str, VesselState]) -> list[float | None]:
    """Work out what was drawn from each source [L, None if unknown], lees included; before: what each held."""
    volumes = []
    for drawn in body.sources:
        all_of_it = drawn.volume_l is None and drawn.emptied is not False
        volumes.append(before[drawn.vessel].volume_l if all_of_it else drawn.volume_l)
    poured = sum_known(target.volume_l for target in body.targets)
    if poured is not None and volumes.count(None) == 1:
        rest = poured + _lees_l(body) - math.fsum(volume for volume in volumes if volume is not None)
        volumes[volumes.index(None)] = rest if rest > 0.0 else None
    return volumes


def _lees_l(body: RackingBody) -> float:
    return math.fsum(drawn.lees_l or 0.0 for drawn in body.sources) if body.lees_l is None else body.lees_l


def _arrived(body: RackingBody, volumes_out: list[float | None]) -> tuple[float | None, float, list[Objection]]:
    """What came to the targets together [L, None if unknown], the lees [L], and whether those are too much."""
    lees, drawn = _lees_l(body), sum_known(volumes_out)
    if drawn is None:
        return None, lees, []
    if lees > drawn + ROUNDING_L:
        names = _source_names(body)
        why = f"{liters(lees)} of lees are more than the {liters(drawn)} drawn from {names}"
        return 0.0, lees, [Objection(names, why)]
    return max(drawn - lees, 0.0), lees, []


def _poured_l(body: RackingBody, arrived_l: float | None, lees_l: float) -> tuple[list[float | None], list[Objection]]:
    """How much came into each target [L], one without a volume gets the rest; and whether that is too much."""
    volumes = [target.volume_l for target in body.targets]
    if arrived_l is None:
        return volumes, []
    poured = math.fsum(volume for volume in volumes if volume is not None)
    if volumes.count(None) == 1:
        volumes[volumes.index(None)] = max(arrived_l - poured, 0.0)
    if poured <= arrived_l + ROUNDING_L:
        return volumes, []
    into, names = ", ".join(target.vessel for target in body.targets), _source_names(body)
    less = f" after {liters(lees_l)} of lees" if lees_l > 0 else ""
    why = (
        f"{liters(poured)} into {into}, but {liters(arrived_l)} came from {names}{less}: "
        f"{liters(poured - arrived_l)} too much"
    )
    return volumes, [Objection(names, why)]


def _source_names(body: RackingBody) -> str:
    return ", ".join(drawn.vessel for drawn in body.sources)


RACKING: Final = EntryKind(
    name="racking",
    body=RackingBody,
    says="Wine goes from vessels to vessels.",
    example="--from K1=16L --from C1=8.5L --to K3 --lees 0.5L",
    questions=_QUESTIONS,
    complete=_complete,
    worked_out=lambda _: frozenset({"begun"}),
    answered_by={"sources": "from", "targets": "to", "vessel": "from", "": "from"},
    place=NO_PLACE,
    lot=lambda _: LotRule(refused="must be left out: the vessels say which wine it is"),
    words=_words,
    caution=opening_caution,
    warnings=_warnings,
    shows_contents=lambda body: body.stage == "done",
    ledger_step=_ledger_step,
)
