"""The forms of what is found or prepared at the bench: lot, titration, titrant, measurement, addition."""

from __future__ import annotations

__all__ = ["BENCH_FORMS"]

from collections.abc import Callable
from typing import Final

from ingest.cellar import Dimension
from ingest.journal.analyses import MEASURED_UNITS
from ingest.journal.answers import Choice, Day, Measure, Number, TitrantStrengthText, Whole, WrittenWords
from ingest.journal.forms_cellar import LOT, REMARK, VESSEL
from ingest.journal.question import Form, Given, Question, always

_ML: Final = Measure(Dimension.VOLUME, "mL", "1.25 mL")
_SUBSTANCES: Final = ("iodine", "iodide-iodate", "sodium hydroxide")
_SUBSTANCE: Final = Choice(_SUBSTANCES)
_STRENGTH: Final = TitrantStrengthText()
_FACTOR: Final = Number(("",), "0.97")


def _at_the_bench(given: Given) -> bool:
    return given.get("method") != "elsewhere"


def _no_vessel(given: Given) -> bool:
    return not given.get("vessel")


_LOT_FORM: Final = Form(
    "lot",
    "A wine; a later entry of the same lot says what holds from then on.",
    "--lot riesling-26 --name 'Riesling 2026' --style white --alcohol '12.5 % vol'",
    (
        Question("lot", "A short name of the lot?", LOT.help, LOT.answer, needed=always),
        Question(
            "name",
            "What is it called?",
            "What it is called.",
            WrittenWords("NAME", "Riesling 2026"),
            "name",
            needed=always,
        ),
        Question(
            "style",
            "Which style?",
            "white, rosé, red, sweet.",
            Choice(("white", "rosé", "red", "sweet")),
            "style",
            needed=always,
            remembered=True,
        ),
        Question(
            "vintage", "Which vintage?", "The year.", Whole("2026", "YEAR"), "vintage", asked=always, remembered=True
        ),
        Question(
            "alcohol",
            "Alcohol?",
            "Its alcohol.",
            Measure(Dimension.ALCOHOL, "% vol", "12.5 % vol"),
            "alcohol_percent_vol",
            asked=always,
        ),
        Question(
            "sugar",
            "Residual sugar?",
            "Its residual sugar.",
            Number(("g/L", "g/l"), "2 g/L", "AMOUNT"),
            "sugar_g_l",
            asked=always,
        ),
        Question(
            "malolactic",
            "Malolactic fermentation?",
            "wanted, under way, complete, prevented.",
            Choice(("wanted", "under way", "complete", "prevented")),
            "malolactic",
            asked=always,
        ),
        REMARK,
    ),
)

_TITRATION: Final = Form(
    "titration",
    "Free or total SO2 of a vessel's wine or of a lot.",
    "--vessel K1 --quantity free --method iodometric --titre '1.25 mL' --sample '25 mL' --titrant 'iodine 3'",
    (
        Question("vessel", VESSEL.ask, VESSEL.help, VESSEL.answer, needed=lambda given: not given.get("lot")),
        Question("lot", LOT.ask, "The lot's id, where the wine stands in no vessel.", LOT.answer),
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
        Question("strength", "Which strength?", "Without a bottle: the titrant's strength.", _STRENGTH),
        Question(
            "substance", "Which titrant?", "Without a bottle: iodine, iodide-iodate, sodium hydroxide.", _SUBSTANCE
        ),
        Question("factor", "Which factor?", "Without a bottle: strength found over that on the label.", _FACTOR),
        Question(
            "sample",
            "How much wine in the flask?",
            "Wine in a flask.",
            Measure(Dimension.VOLUME, "mL", "25 mL"),
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
        ),
        Question(
            "start", "Burette before?", "Instead of the titre: the burette before; once for each flask.", _ML, many=True
        ),
        Question(
            "end",
            "Burette after?",
            "And after.",
            _ML,
            many=True,
            needed=lambda given: bool(given.get("start")),
        ),
        Question(
            "end_point",
            "How long did the blue stay?",
            "How long the blue had to stay.",
            Measure(Dimension.TIME, "s", "15 s"),
            "end_point_s",
            asked=lambda given: given.get("method") == "iodometric",
            remembered=True,
        ),
        Question(
            "result",
            "The result?",
            "The result, with method elsewhere.",
            Measure(Dimension.CONCENTRATION, "mg/L", "32 mg/L"),
            "so2_mg_l",
            needed=lambda given: not _at_the_bench(given),
        ),
        Question(
            "uncertainty",
            "Its standard uncertainty?",
            "Its standard uncertainty, with method elsewhere.",
            Measure(Dimension.CONCENTRATION, "mg/L", "3 mg/L"),
            "u_so2_mg_l",
            asked=lambda given: not _at_the_bench(given),
        ),
        REMARK,
    ),
)

_TITRANT: Final = Form(
    "titrant",
    "A bottle of titrant, or what was found of it since.",
    "--name 'iodine 3' --substance iodine --strength '0.02 N' --factor 0.98 --standardised 2026-11-24",
    (
        Question(
            "name",
            "What is the bottle called?",
            "The bottle's name, for titrations to call it by.",
            WrittenWords("NAME", "iodine 3"),
            "name",
            needed=always,
        ),
        Question(
            "substance",
            "What is in it?",
            "iodine, iodide-iodate, sodium hydroxide.",
            _SUBSTANCE,
            "substance",
            needed=always,
            remembered=True,
        ),
        Question(
            "strength",
            "Which strength, with its unit?",
            "Normality as '0.02 N', molarity as '0.01 mol/L'.",
            _STRENGTH,
            needed=always,
        ),
        Question("opened", "When was it opened?", "When it was opened or made up.", Day(), "opened_ms", asked=always),
        Question(
            "factor",
            "Which factor?",
            "Strength found by standardising over that on the label.",
            _FACTOR,
            "factor",
            asked=always,
        ),
        Question(
            "standardised",
            "When was that found?",
            "When the factor was found.",
            Day(),
            "standardised_ms",
            asked=lambda given: given.get("factor") is not None,
        ),
        REMARK,
    ),
)

_MEASUREMENT: Final = Form(
    "measurement",
    "One number read by hand.",
    "--vessel K1 --quantity pH --value 3.42 --instrument 'bench meter'",
    (
        Question(
            "vessel",
            "Which vessel?",
            VESSEL.help,
            VESSEL.answer,
            needed=lambda given: not any(given.get(one) for one in ("lot", "cylinder", "room")),
        ),
        Question("cylinder", "Which cylinder?", "Or the gas cylinder's id.", WrittenWords("ID", "CO2")),
        Question("room", "Which room?", "Or the room's id.", WrittenWords("ID", "cellar")),
        Question("lot", LOT.ask, "Or the lot's id.", LOT.answer),
        Question(
            "quantity",
            "What was measured?",
            ", ".join(MEASURED_UNITS) + ", or another one in your words.",
            WrittenWords("NAME", "pH"),
            "quantity",
            needed=always,
            remembered=True,
        ),
        Question(
            "value",
            "Which value, with its unit?",
            "The number with its unit.",
            WrittenWords("AMOUNT", "3.42"),
            needed=always,
        ),
        Question(
            "uncertainty",
            "Its standard uncertainty?",
            "Its standard uncertainty, in the same unit.",
            WrittenWords("AMOUNT", "0.02"),
        ),
        Question(
            "instrument",
            "With which instrument?",
            "What it was read from.",
            WrittenWords(),
            "instrument",
            asked=always,
            remembered=True,
        ),
        Question(
            "tare",
            "The tare?",
            "Of a weight: the empty weight, if not in the cellar file.",
            Measure(Dimension.MASS, "kg", "4.2 kg"),
        ),
        Question(
            "density",
            "The wine's density?",
            "Of a weight: the wine's density.",
            Number(("g/mL", "kg/L"), "0.992 g/mL", "AMOUNT"),
        ),
        REMARK,
    ),
)

_SULFITE_FORMS: Final = ("metabisulfite", "stock solution", "tablets", "liquid", "other")


def _as(*forms: str) -> Callable[[Given], bool]:
    return lambda given: given.get("form") in forms


_ADDITION: Final = Form(
    "addition",
    "Something is added to a vessel's wine.",
    "--vessel K1 --form metabisulfite --salt potassium --mass '0.4 g'",
    (
        VESSEL,
        Question(
            "form",
            "In which form?",
            ", ".join(_SULFITE_FORMS) + ".",
            Choice(_SULFITE_FORMS),
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
        Question(
            "name", "What is it?", "What was added.", WrittenWords(), "name", needed=_as("other"), remembered=True
        ),
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
            "volume", "How much?", "How much, by volume.", _ML, "volume_ml", needed=_as("stock solution", "liquid")
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
        Question(
            "number", "How many?", "How many tablets.", Number(("",), "2", "COUNT"), "number", needed=_as("tablets")
        ),
        Question(
            "label",
            "What does the label say?",
            "SO2 by the label: of a tablet in g, of a liquid in g/L.",
            WrittenWords("AMOUNT", "0.25 g"),
            needed=_as("tablets", "liquid"),
            remembered=True,
        ),
        Question("amount", "How much, in words?", "Other additions: how much, in words.", WrittenWords(), "amount"),
        REMARK,
    ),
)

BENCH_FORMS: Final = (_LOT_FORM, _TITRATION, _TITRANT, _MEASUREMENT, _ADDITION)
