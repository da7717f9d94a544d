"""Kind "titration": free or total SO2 of a vessel's wine or of a lot; ``worked_titration`` makes it of the answers."""

from __future__ import annotations

__all__ = ["TITRATION", "Flask", "TitrationBody"]

import re
from collections.abc import Callable
from dataclasses import replace
from math import hypot
from typing import Final, Literal, Self

from pydantic import model_validator

from ingest.cellar import Dimension
from ingest.journal.answers import Choice, Measure, WrittenStrength, WrittenWords
from ingest.journal.body import Amount, Body, BodyPart, Positive, Result, Words
from ingest.journal.contents import Contents
from ingest.journal.entry import Entry
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import (
    NOTHING_CHANGES,
    VESSEL_KINDS,
    EntryKind,
    LedgerStep,
    NamedVessels,
    PlaceRule,
    StateOf,
)
from ingest.journal.kinds.titrant import FACTOR, STRENGTH, SUBSTANCE
from ingest.journal.phrases import listed
from ingest.journal.question import LOT, REMARK, VESSEL, Given, Question, always
from ingest.journal.titrant import Meaning, Titrant
from ingest.journal.titrant_bottles import Strength
from ingest.journal.titration import So2Quantity, titre_ml
from ingest.journal.titration_outcome import MOST_SO2_MG_L, below_mg_l
from ingest.journal.vessel_state import Objection
from ingest.journal.wine import So2Value
from ingest.journal.worked_titration import worked_titration

_UNIT: Final = "mg/L"

_IODINE: Final = (
    "the acid burns and the iodine stains: goggles and gloves, acid into water, never the reverse; what was titrated "
    "is waste and never goes back to the vessel"
)
_AERATION: Final = (
    "acid, hydrogen peroxide and sodium hydroxide burn eyes and skin: goggles and gloves; what was titrated is waste "
    "and never goes back to the vessel"
)
# What the total takes in addition.
_TOTAL: Final = {
    "aeration": "hot acid scalds, and alcohol burns: keep wine and spirit away from the flame",
    "iodometric": "the alkali that sets bound SO2 free burns eyes and skin, too",
}


class Flask(BodyPart):
    """One flask of a titration: the titre, or the burette before and after."""

    titre_ml: Amount | None = None
    start_ml: Amount | None = None
    end_ml: Amount | None = None

    @model_validator(mode="after")
    def _either(self) -> Self:
        read = (self.start_ml is not None, self.end_ml is not None)
        if (self.titre_ml is not None) == any(read) or any(read) != all(read):
            raise ValueError("say the titre, or where the burette stood at start and end, and not both")
        if self.start_ml is not None and self.end_ml is not None:
            titre_ml(self.start_ml, self.end_ml)
        return self

    @property
    def used_ml(self) -> float:
        """The titrant used [mL]."""
        if self.start_ml is None or self.end_ml is None:
            return self.titre_ml or 0.0
        return titre_ml(self.start_ml, self.end_ml)


class TitrationBody(Body):
    """Free or total SO2 of the entry's vessel or lot.

    method ``elsewhere``: a result in mg/L that somebody else found. titrant: the bottle's name; strength and factor: as
    they were taken from it then; substance: only where no bottle says it. end_point_s: how long the blue had to stay
    [s], None for aeration and where nobody wrote it down. so2_mg_l and u_so2_mg_l: result and standard uncertainty, as
    worked out when it was written; so2_mg_l is None below the blank, u_so2_mg_l then what a result near 0 would have.
    """

    quantity: Literal["free", "total"]
    method: Literal["iodometric", "aeration", "elsewhere"]
    flasks: tuple[Flask, ...] = ()
    blank_ml: Amount | None = None
    sample_ml: Positive | None = None
    end_point_s: Positive | None = None
    titrant: Words | None = None
    strength: Strength | None = None
    factor: Positive | None = None
    substance: Titrant | None = None
    so2_mg_l: Amount | None = None
    u_so2_mg_l: Amount | None = None
    remark: Words | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.method == "elsewhere":
            if self.so2_mg_l is None or self.flasks:
                raise ValueError("a result from elsewhere is its mg/L, without flasks")
        elif not self.flasks or self.sample_ml is None:
            raise ValueError("a titration needs at least one flask and the sample volume in mL")
        return self

    @property
    def found_mg_l(self) -> float | None:
        """SO2 [mg/L] as it counts in histories and in the ledger; None if nothing is known.

        Below its blank it is 0 with its uncertainty: that nothing could be found is the news that matters most.
        """
        return None if self.so2_mg_l is None and self.u_so2_mg_l is None else self.so2_mg_l or 0.0

    @property
    def results(self) -> tuple[Result, ...]:
        """The SO2 that it found."""
        found_mg_l = self.found_mg_l
        return () if found_mg_l is None else (Result(f"{self.quantity}_so2", found_mg_l, self.u_so2_mg_l, _UNIT),)


# ---- questions ------------------------------------------------------------------------------------------------------

_ML: Final = Measure(Dimension.VOLUME, "mL", "1.25 mL", bare="mL")


def _at_the_bench(given: Given) -> bool:
    return given.get("method") != "elsewhere"


def _strength_of(body: TitrationBody) -> WrittenStrength | None:
    """The strength as it was answered: of a bottle it is not asked."""
    if body.titrant is not None or body.strength is None:
        return None
    return WrittenStrength(body.strength.number, molar=body.strength.meaning is not Meaning.NORMALITY)


def _of_flasks(key: str) -> Callable[[TitrationBody], list[float] | None]:
    return lambda body: [value for flask in body.flasks if (value := getattr(flask, key)) is not None] or None


_QUESTIONS: Final = (
    replace(VESSEL, needed=lambda given: not given.get("lot")),
    replace(LOT, help="The lot's id, where the wine stands in no vessel."),
    Question(
        "quantity",
        "Free or total?",
        "free or total.",
        Choice(("free", "total")),
        "quantity",
        needed=always,
        remembered=True,
    ),
    Question(
        "method",
        "By which method?",
        "iodometric, aeration; elsewhere for a result from a laboratory.",
        Choice(("iodometric", "aeration", "elsewhere")),
        "method",
        needed=always,
        remembered=True,
    ),
    Question(
        "titrant",
        "Which bottle of titrant?",
        "The bottle of titrant, by its name.",
        WrittenWords("NAME", "iodine 3"),
        "titrant",
        needed=lambda given: _at_the_bench(given) and not given.get("strength"),
        remembered=True,
    ),
    Question(
        "strength",
        "Which strength?",
        "Without a bottle: the titrant's strength.",
        STRENGTH.answer,
        recall=_strength_of,
    ),
    Question(
        "substance",
        "Which titrant?",
        "Without a bottle: iodine, iodide-iodate, sodium hydroxide.",
        SUBSTANCE.answer,
        "substance",
    ),
    Question(
        "factor",
        "Which factor?",
        "Without a bottle: strength found over that on the label.",
        FACTOR.answer,
        recall=lambda body: None if body.titrant else body.factor,
    ),
    Question(
        "sample",
        "How much wine in the flask?",
        "Wine in a flask.",
        Measure(Dimension.VOLUME, "mL", "25 mL", bare="mL"),
        "sample_ml",
        needed=_at_the_bench,
        remembered=True,
    ),
    Question(
        "blank",
        "The blank?",
        "Titrant used without free SO2.",
        _ML,
        "blank_ml",
        asked=_at_the_bench,
        remembered=True,
    ),
    Question(
        "titre",
        "The titre?",
        "Titrant used; once for each flask.",
        _ML,
        many=True,
        needed=lambda given: _at_the_bench(given) and not given.get("start") and not given.get("end"),
        recall=_of_flasks("titre_ml"),
    ),
    Question(
        "start",
        "Burette before?",
        "Instead of the titre: the burette before; once for each flask.",
        _ML,
        many=True,
        recall=_of_flasks("start_ml"),
    ),
    Question(
        "end",
        "Burette after?",
        "And after.",
        _ML,
        many=True,
        needed=lambda given: bool(given.get("start")),
        recall=_of_flasks("end_ml"),
    ),
    Question(
        "end_point",
        "How long did the blue stay?",
        "How long the blue had to stay.",
        Measure(Dimension.TIME, "s", "15 s", bare="s"),
        "end_point_s",
        asked=lambda given: given.get("method") == "iodometric",
        remembered=True,
    ),
    Question(
        "result",
        "The result?",
        "The result, with method elsewhere.",
        Measure(Dimension.CONCENTRATION, "mg/L", "32 mg/L", bare="mg/L"),
        "so2_mg_l",
        needed=lambda given: not _at_the_bench(given),
        recall=lambda body: body.so2_mg_l if body.method == "elsewhere" else None,
    ),
    Question(
        "uncertainty",
        "Its standard uncertainty?",
        "Its standard uncertainty, with method elsewhere.",
        Measure(Dimension.CONCENTRATION, "mg/L", "3 mg/L", bare="mg/L"),
        "u_so2_mg_l",
        asked=lambda given: not _at_the_bench(given),
        recall=lambda body: body.u_so2_mg_l if body.method == "elsewhere" else None,
    ),
    REMARK,
)


def _worked_out(body: TitrationBody) -> frozenset[str]:
    if body.method == "elsewhere":
        return frozenset()
    results = frozenset({"so2_mg_l", "u_so2_mg_l"})
    return results | {"strength", "factor"} if body.titrant else results


# ---- words, caution, warnings ---------------------------------------------------------------------------------------


def _words(body: TitrationBody, _: str | None) -> str:
    if body.so2_mg_l is None:
        below = "none found," if body.u_so2_mg_l is None else f"< {below_mg_l(body.u_so2_mg_l):.0f} mg/L"
        result = f"{below} {body.quantity} SO2"
    else:
        result = f"{body.so2_mg_l:.0f} mg/L {body.quantity} SO2"
    if body.method == "elsewhere":
        return f"{result}, found elsewhere"
    # A difference of decimal readings is a hair off.
    titres = listed([f"{round(flask.used_ml, 6):.4g}" for flask in body.flasks])
    blank = f" less {body.blank_ml:g} mL" if body.blank_ml else ""
    strength = "" if body.strength is None else f" of {body.strength}"
    factor = "" if body.factor is None else f" (factor {body.factor:g})"
    return f"{titres} mL{blank}{strength}{factor} on {body.sample_ml:g} mL: {result}"


def _spread_words(body: TitrationBody) -> str:
    if body.u_so2_mg_l is None or body.so2_mg_l is None:
        return ""
    return f"standard uncertainty {body.u_so2_mg_l:.1f} mg/L"


def _caution(body: TitrationBody, _: NamedVessels) -> str:
    if body.method == "elsewhere":
        return ""
    of_method = _AERATION if body.method == "aeration" else _IODINE
    return f"{of_method}; {_TOTAL[body.method]}" if body.quantity == "total" else of_method


def _warnings(body: TitrationBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That a result from elsewhere is more than wine has (one that was worked out here has its own warning), and that
    the free SO2 would be more than the total, of which it is a part.
    """
    return (*_too_much(body), *_free_above_total(body, vessels.before))


def _too_much(body: TitrationBody) -> tuple[str, ...]:
    most = MOST_SO2_MG_L[So2Quantity(body.quantity)]
    if body.method != "elsewhere" or (body.so2_mg_l or 0.0) <= most:
        return ()
    return (f"{body.so2_mg_l:g} mg/L of {body.quantity} SO2 is more than {most:g}: look again",)


def _free_above_total(body: TitrationBody, before: Contents | None) -> tuple[str, ...]:
    if before is None or body.so2_mg_l is None:
        return ()
    other = before.total_so2 if body.quantity == "free" else before.free_so2
    if other is None:
        return ()
    found = So2Value(body.so2_mg_l, body.u_so2_mg_l, 0)
    free, total = (found, other) if body.quantity == "free" else (other, found)
    if free.mg_l - total.mg_l <= 2.0 * hypot(free.u_mg_l or 0.0, total.u_mg_l or 0.0):
        return ()
    return (
        f"{free.mg_l:.0f} mg/L of free SO2 is more than the {total.mg_l:.0f} mg/L of total SO2 of {before.vessel}, of "
        "which it is a part: look at both",
    )


# ---- the ledger -----------------------------------------------------------------------------------------------------


def _ledger_step(entry: Entry, body: TitrationBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    if entry.place is None:
        return NOTHING_CHANGES
    before = state_of(entry.place)
    if before.empty:
        return LedgerStep({}, [Objection(entry.place, f"{entry.place} is empty: there is no wine in it to titrate")])
    if not before.known:
        return NOTHING_CHANGES
    found = None if body.found_mg_l is None else So2Value(body.found_mg_l, body.u_so2_mg_l, entry.at_ms)
    wine = before.wine
    if body.quantity == "free":
        wine = wine._replace(free=found, past_free=None if found is not None else wine.last_free)
    else:
        wine = wine._replace(total=found, past_total=None if found is not None else wine.last_total)
    return LedgerStep({entry.place: before._replace(wine=wine)})


# ---- stored by earlier versions -------------------------------------------------------------------------------------

_BLUE: Final = re.compile(r'"end_point":"blue for ([0-9.]+) s"')


def _updated(text: str) -> str:
    """The first stores of the journal keep the end point in words."""
    return _BLUE.sub(r'"end_point_s":\1', text)


TITRATION: Final = EntryKind(
    name="titration",
    body=TitrationBody,
    says="Free or total SO2 of a vessel's wine or of a lot.",
    example="--vessel K1 --quantity free --method iodometric --titre '1.25 mL' --sample '25 mL' --titrant 'iodine 3'",
    questions=_QUESTIONS,
    complete=worked_titration,
    answered_by={"flasks": "titre", "": "titre"},
    instead_of={
        "titre": ("start", "end"),
        "start": ("titre",),
        "end": ("titre",),
        "titrant": ("strength", "substance", "factor"),
        "strength": ("titrant",),
        "vessel": ("lot",),
        "lot": ("vessel",),
    },
    worked_out=_worked_out,
    place=PlaceRule(VESSEL_KINDS, or_lot=True),
    words=_words,
    spread_words=_spread_words,
    caution=_caution,
    warnings=_warnings,
    result_units={"free_so2": _UNIT, "total_so2": _UNIT},
    shows_contents=lambda _: False,
    ledger_step=_ledger_step,
    updated=_updated,
)
