"""Kind "addition": something is added to a vessel's wine.

A metabisulfite gives two SO2: the mass fraction is 2 M(SO2) / M(salt), with M(SO2) = 64.06, M(K2S2O5) = 222.31 and
M(Na2S2O5) = 190.09 g/mol (IUPAC atomic masses). This is of fresh, dry salt and a fresh solution; both lose SO2 to the
air.

Worked example: 0.40 g of potassium metabisulfite: 0.40 x 0.576 = 0.23 g of SO2, in 16 L 14 mg/L.
"""

from __future__ import annotations

__all__ = ["ADDITION", "MOST_STOCK_G_PER_100_ML", "SO2_PER_SALT", "AdditionBody", "so2_added_g"]

import math
from collections.abc import Callable
from typing import Final, Literal, Self

from pydantic import model_validator

from ingest.cellar import Dimension, parse_amount
from ingest.journal.answers import AnswersWrong, Choice, Measure, Number, WrittenWords, Wrong
from ingest.journal.body import LARGEST_AMOUNT, Amount, Body, Positive, Words, read_body
from ingest.journal.entry import Entry
from ingest.journal.entry_context import EntryContext
from ingest.journal.equipment import Equipment
from ingest.journal.kinds.kind import (
    NOTHING_CHANGES,
    BodyData,
    EntryKind,
    LedgerStep,
    NamedVessels,
    StateOf,
    place_of,
)
from ingest.journal.phrases import joined, phrase
from ingest.journal.question import REMARK, VESSEL, Given, Question, always
from ingest.journal.vessel_state import Objection
from ingest.journal.wine import root

# g of SO2 in a g of salt.
SO2_PER_SALT: Final = {"potassium": 2.0 * 64.06 / 222.31, "sodium": 2.0 * 64.06 / 190.09}

# More metabisulfite does not dissolve in 100 mL of cold water: about 65 g of the sodium salt, 45 g of the potassium
# salt at 20 degC (handbook values from memory, rounded up).
MOST_STOCK_G_PER_100_ML: Final = {"sodium": 70.0, "potassium": 50.0}

# No wine needs more total SO2: the highest limit in the European Union is 400 mg/L, for some sweet wines (Regulation
# (EU) 2019/934, annex I part B; from memory).
_MOST_TOTAL_MG_L: Final = 400.0
# Weighing the salt or pipetting the solution: standard uncertainty as a part of the addition (a working default).
_U_MEASURED_OUT: Final = 0.03


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

    @property
    def label(self) -> str | None:
        """What the label says, as a person answers it."""
        if self.label_so2_g is not None:
            return f"{self.label_so2_g!r} g"
        return None if self.label_so2_g_l is None else f"{self.label_so2_g_l!r} g/L"


def so2_added_g(addition: AdditionBody) -> float | None:
    """SO2 [g] that an addition brings; None where it brings none, or what is written does not say how much."""
    fraction = None if addition.salt is None else SO2_PER_SALT[addition.salt]
    if addition.form == "metabisulfite" and addition.mass_g is not None and fraction is not None:
        return addition.mass_g * fraction
    if addition.form == "stock solution" and addition.volume_ml is not None and fraction is not None:
        return addition.volume_ml / 100.0 * (addition.stock_g_per_100_ml or 0.0) * fraction
    if addition.form == "tablets" and addition.number is not None:
        return addition.number * (addition.label_so2_g or 0.0)
    if addition.form == "liquid" and addition.volume_ml is not None:
        return addition.volume_ml / 1000.0 * (addition.label_so2_g_l or 0.0)
    return None


# ---- questions ------------------------------------------------------------------------------------------------------

_FORMS: Final = ("metabisulfite", "stock solution", "tablets", "liquid", "other")


def _as(*forms: str) -> Callable[[Given], bool]:
    return lambda given: given.get("form") in forms


def _label_of(last: AdditionBody) -> str | None:
    return last.label


_QUESTIONS: Final = (
    VESSEL,
    Question(
        "form",
        "In which form?",
        ", ".join(_FORMS) + ".",
        Choice(_FORMS),
        "form",
        needed=always,
        remembered=True,
    ),
    Question(
        "salt",
        "Which salt?",
        "potassium or sodium metabisulfite.",
        Choice(("potassium", "sodium")),
        "salt",
        needed=_as("metabisulfite", "stock solution"),
        remembered=True,
    ),
    Question("name", "What is it?", "What was added.", WrittenWords(), "name", needed=_as("other"), remembered=True),
    Question(
        "mass",
        "How much?",
        "How much, by mass.",
        Measure(Dimension.MASS, "g", "0.4 g"),
        "mass_g",
        needed=_as("metabisulfite"),
        asked=_as("other"),
    ),
    Question(
        "volume",
        "How much?",
        "How much, by volume.",
        Measure(Dimension.VOLUME, "mL", "1.25 mL"),
        "volume_ml",
        needed=_as("stock solution", "liquid"),
    ),
    Question(
        "stock",
        "How strong is the solution?",
        "Salt in the stock solution, in g made up to 100 mL.",
        Number(("g/100 mL", "g/100mL", "g per 100 mL"), "10 g/100 mL", "AMOUNT"),
        "stock_g_per_100_ml",
        needed=_as("stock solution"),
        remembered=True,
    ),
    Question("number", "How many?", "How many tablets.", Number(("",), "2", "COUNT"), "number", needed=_as("tablets")),
    Question(
        "label",
        "What does the label say?",
        "SO2 by the label: of a tablet in g, of a liquid in g/L.",
        WrittenWords("AMOUNT", "0.25 g"),
        needed=_as("tablets", "liquid"),
        remembered=True,
        recall=_label_of,
        units=lambda given: ("g/L", "mg/L") if given.get("form") == "liquid" else ("g", "mg"),
    ),
    Question("amount", "How much, in words?", "Other additions: how much, in words.", WrittenWords(), "amount"),
    REMARK,
)


# What says how much of each form was added; an amount in words would count for nothing there.
_MEASURED_BY: Final = {
    "metabisulfite": ("mass", "'0.4 g'"),
    "stock solution": ("volume", "'4 mL'"),
    "tablets": ("number", "2"),
    "liquid": ("volume", "'4 mL'"),
}


def _complete(given: Given, data: BodyData, context: EntryContext, _: int) -> tuple[str, ...]:
    if given["form"] in _MEASURED_BY and "amount" in given:
        option, example = _MEASURED_BY[given["form"]]
        instead = f"of {given['form']} give the {option}, such as {example}"
        raise AnswersWrong([Wrong("amount", f"an amount in words goes with other additions only; {instead}")])
    if "label" in given:
        data |= _labelled(str(given["label"]), str(given["form"]))
    so2_g = so2_added_g(read_body(AdditionBody, "addition", data))
    if so2_g is not None and so2_g > LARGEST_AMOUNT:
        question = "number" if given["form"] == "tablets" else "volume"
        why = f"makes {so2_g:g} g of SO2, and at most {LARGEST_AMOUNT:,.0f} g can be written down; look at the units"
        raise AnswersWrong([Wrong(question, why)])
    data["so2_g"] = so2_g
    data["notes"] = _in_that_volume(given, so2_g, context)
    return ()


def _in_that_volume(given: Given, so2_g: float | None, context: EntryContext) -> list[str]:
    """How much an addition is per litre of the wine that is in its vessel."""
    held = context.contents.get(given["vessel"])
    grams = given.get("mass") if so2_g is None else so2_g
    if held is None or not held.volume_l or not grams:
        return []
    what = "of SO2 " if so2_g is not None else ""
    mg_l = 1000.0 * grams / held.volume_l
    return [f"that is {mg_l:.{0 if mg_l >= 100.0 else 1}f} mg/L {what}in {held.volume_l:.1f} L"]


def _labelled(text: str, form: str) -> BodyData:
    """What a label says: SO2 in a tablet, or in a litre of a liquid."""
    try:
        if form == "tablets":
            return {"label_so2_g": parse_amount(text, dimension=Dimension.MASS, unit="g", example="0.25 g").number}
        amount = parse_amount(text, dimension=Dimension.CONCENTRATION, unit="g/L", example="50 g/L")
    except ValueError as error:
        raise AnswersWrong([Wrong("label", f"'{text}': {error}")]) from None
    return {"label_so2_g_l": amount.number}


# ---- words, caution, warnings ---------------------------------------------------------------------------------------


def _words(body: AdditionBody, _: str | None) -> str:
    added = {
        "metabisulfite": f"{phrase(body.mass_g, '{:g} g') or ''} of {body.salt or ''} metabisulfite",
        "stock solution": f"{body.volume_ml or 0:g} mL of {body.salt or ''} metabisulfite solution, "
        f"{body.stock_g_per_100_ml or 0:g} g/100 mL",
        "tablets": f"{body.number or 0:g} tablets of {body.label_so2_g or 0:g} g SO2",
        "liquid": f"{body.volume_ml or 0:g} mL with {body.label_so2_g_l or 0:g} g/L SO2",
        "other": joined(
            [
                body.name,
                phrase(body.mass_g, "{:g} g"),
                phrase(body.volume_ml, "{:g} mL"),
                phrase(body.number, "{:g}"),
                body.amount,
            ]
        ),
    }[body.form]
    brings = "" if body.so2_g is None else f": {body.so2_g:.3g} g SO2"
    return " ".join(added.split()) + brings


def _caution(body: AdditionBody, _: NamedVessels) -> str:
    if body.form == "other":
        return ""
    return (
        "sulfite gives off SO2, which can set off asthma: fresh air, goggles, no acid near the powder or the stock "
        "solution"
    )


def _warnings(body: AdditionBody, vessels: NamedVessels) -> tuple[str, ...]:
    return (*_stock_warnings(body), *(_dose_warnings(vessels) or _large_dose_warnings(body, vessels)))


def _stock_warnings(body: AdditionBody) -> tuple[str, ...]:
    """That a stock solution would be stronger than the salt dissolves."""
    stock = body.stock_g_per_100_ml
    most = MOST_STOCK_G_PER_100_ML.get(body.salt or "", max(MOST_STOCK_G_PER_100_ML.values()))
    if stock is None or stock <= most:
        return ()
    return (f"{stock:g} g in 100 mL do not dissolve, some {most:g} g at most do: look at the strength",)


def _dose_warnings(vessels: NamedVessels) -> tuple[str, ...]:
    """That it brings a vessel's total SO2 past what any wine needs."""
    return tuple(
        f"{after.vessel} would then have {after.total_so2.mg_l:.0f} mg/L total SO2. The highest limit of EU law is "
        f"{_MOST_TOTAL_MG_L:.0f}, for some sweet wines (Regulation (EU) 2019/934): look at the amount and its unit"
        for after in vessels.after
        if after.total_so2 is not None and after.total_so2.mg_l > _MOST_TOTAL_MG_L
    )


def _large_dose_warnings(body: AdditionBody, vessels: NamedVessels) -> tuple[str, ...]:
    """That it alone is more than any wine needs, where the total SO2 or the volume of the wine is not known."""
    before = vessels.before
    if before is None or body.so2_g is None:
        return ()
    volume_l = before.volume_l or before.capacity_l
    if not volume_l or 1000.0 * body.so2_g / volume_l <= _MOST_TOTAL_MG_L:
        return ()
    wine = "of wine" if before.volume_l else "at most"
    return (
        f"{body.so2_g:.3g} g of SO2 into {volume_l:g} L {wine} makes {1000.0 * body.so2_g / volume_l:.0f} mg/L, and no "
        f"wine needs more than {_MOST_TOTAL_MG_L:.0f}: look at the amount and its unit",
    )


# ---- the ledger -----------------------------------------------------------------------------------------------------


def _ledger_step(entry: Entry, body: AdditionBody, state_of: StateOf, _: Equipment) -> LedgerStep:
    place = place_of(entry)
    before = state_of(place)
    if before.empty:
        return LedgerStep({}, [Objection(place, f"{place} is empty: there is no wine in it to add to")])
    if not before.known or (body.form == "other" and not body.so2_g):
        return NOTHING_CHANGES
    # How much of it stays free is not a matter of mass, so free is not known again before the next titration; the
    # total rises by what was added.
    total = before.wine.total
    if total is not None:
        if body.so2_g is None or before.volume_l is None:
            total = None
        else:
            added = 1000.0 * body.so2_g / before.volume_l
            u_added = added * math.hypot(_U_MEASURED_OUT, (before.u_l or 0.0) / before.volume_l)
            total = total._replace(mg_l=total.mg_l + added, u_mg_l=root(total.u_mg_l, u_added), mixed=True)
    past_total = None if total is not None else before.wine.last_total
    wine = before.wine._replace(free=None, total=total, past_free=before.wine.last_free, past_total=past_total)
    return LedgerStep({place: before._replace(wine=wine)})


ADDITION: Final = EntryKind(
    name="addition",
    body=AdditionBody,
    says="Something is added to a vessel's wine.",
    example="--vessel K1 --form metabisulfite --salt potassium --mass '0.4 g'",
    questions=_QUESTIONS,
    complete=_complete,
    worked_out=lambda body: frozenset() if body.form == "other" else frozenset({"so2_g"}),
    answered_by={"label_so2_g": "label", "label_so2_g_l": "label", "": "amount"},
    words=_words,
    caution=_caution,
    warnings=_warnings,
    ledger_step=_ledger_step,
)
